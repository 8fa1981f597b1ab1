import type { Chance } from '../../src/chance/index.js'
import type { State } from '../../src/sequencer/index.js'

/** What can be done to a run beyond the faults a virtual bench has of its own. */
export const nemesisKinds = [
  'drop to supply',
  'drop to controller',
  'garble to supply',
  'garble to controller',
  'delay to supply',
  'delay to controller',
  'twice to supply',
  'twice to controller',
  'port refuses',
  'unplugged line',
  'controller stalls',
  'controller hangs',
  'controller killed',
  'parent killed',
  'reordered to controller',
  'machine sleeps',
  'clock jumps',
  'power cut',
  'mains dip',
  'record late',
  'recorder lost',
  'recorder hangs',
  'disk full',
  'disk slow',
  'disk stalls',
  'answer late',
  'answer never',
  'answer twice',
  'answer wrong',
  'stop',
  'stop twice',
  'record port closes',
] as const
/** The last two with odds of their own: what is drawn for the others stays as it was for every seed. */
export type NemesisKind = (typeof nemesisKinds)[number] | 'reading too high' | 'supply resets'

/** Whoever does things to a run: what the simulation asks of it. `what` says what a call is, for one who picks by that. */
export type Mischief = Pick<
  Nemesis,
  'injected' | 'told' | 'calm_us' | 'without' | 'moment' | 'high' | 'did' | 'between' | 'pick' | 'dice'
> & {
  hits(kind: NemesisKind, t_us: number, what?: string): boolean
  /** Shown the sequencer at every tick, and which outputs are truly on. */
  looks?(state: State, t_us: number, outputs: Readonly<Record<string, boolean>>): void
  /** What becomes of the answer to one question; null: it never comes. */
  answers?(
    port: string,
    question: string,
    reply: string,
    t_us: number,
  ): { text: string; late_us: number } | null
}

/** Does nothing by itself, draws no fault of the set, and notes what a kind of its own does: for those who do one thing only. */
export abstract class OneThing implements Mischief {
  readonly injected = new Map<string, number>()
  readonly told: { readonly t_us: number; readonly text: string }[] = []
  readonly without: ReadonlySet<string> = new Set()
  /** Faults end here at the latest; a run untouched is over long before. */
  readonly calm_us = 120_000_000

  did(kind: string, t_us: number): void {
    if (!this.injected.has(kind)) this.told.push({ t_us, text: kind })
    this.injected.set(kind, (this.injected.get(kind) ?? 0) + 1)
  }
  moment(): null {
    return null
  }
  high(): null {
    return null
  }
  pick<T>(_of: string, from: readonly T[]): T | undefined {
    return from[0]
  }
  abstract hits(kind: NemesisKind, t_us: number, what?: string): boolean
  abstract between(of: string, least_us: number, most_us: number): number
  abstract dice(of: string): number
}

/** Per call on a line or a question (`share`), or once at a time (`once`). */
interface Plan {
  readonly share: number
  readonly from_us: number
  readonly to_us: number
  /** Once: this long after HT first stands high, instead of at `from_us`; null = at `from_us`. */
  readonly high_us: number | null
}

/** Kinds that happen once, at a moment of their own. */
const once: ReadonlySet<NemesisKind> = new Set([
  'unplugged line',
  'controller stalls',
  'controller hangs',
  'controller killed',
  'parent killed',
  'machine sleeps',
  'clock jumps',
  'power cut',
  'mains dip',
  'recorder lost',
  'recorder hangs',
  'disk stalls',
  'stop',
  'stop twice',
])

/**
 * Odds are drawn per run and each kind has its own window, so that faults cluster: most runs see few kinds, some see many of one.
 * After `calm_us` nothing more is injected: from there every run must end in bounded time.
 */
export class Nemesis {
  readonly injected = new Map<string, number>()
  /** What was done and when, for the story of a run that broke. */
  readonly told: { readonly t_us: number; readonly text: string }[] = []
  private readonly plans = new Map<NemesisKind, Plan>()
  private readonly forks = new Map<string, Chance>()
  readonly calm_us: number

  /** `without`: kinds left out to find the short story; the others then do exactly what they did before. `stretch`: the calm comes that much later. */
  constructor(
    private readonly chance: Chance,
    readonly without: ReadonlySet<string>,
    stretch = 1,
  ) {
    const own = chance.fork('nemesis')
    this.calm_us = stretch * (5 + 45 * own.next()) * 1e6
    const odds = own.next() * 0.25
    // Most runs see one of the things that happen once, for certain.
    const certain = [...once][Math.floor((own.next() / 0.7) * once.size)]
    for (const kind of nemesisKinds) {
      const drawn = own.next() <= (once.has(kind) ? odds / 2 : odds) || kind === certain
      const from_us = own.next() * this.calm_us
      const length_us = Math.exp((-1 + 4 * own.next()) * Math.LN10 * 0.75) * 1e6
      const share = Math.exp(-3 * own.next() * Math.LN10)
      const high_us = own.next() < 0.5 ? Math.exp((4 + 3 * own.next()) * Math.LN10) : null
      if (drawn && !without.has(kind))
        this.plans.set(kind, { share, from_us, to_us: Math.min(this.calm_us, from_us + length_us), high_us })
    }
  }

  /** Whether this one call is hit now. */
  hits(kind: NemesisKind, t_us: number): boolean {
    const plan = this.plans.get(kind)
    if (plan === undefined || t_us < plan.from_us || t_us > plan.to_us) return false
    if (this.dice(kind) >= plan.share) return false
    this.did(kind, t_us)
    return true
  }

  /** When a thing that happens once falls due; null where it does not. */
  moment(kind: NemesisKind): number | null {
    const plan = this.plans.get(kind)
    return plan?.high_us === null ? plan.from_us : null
  }
  /** How long after HT first stands high it falls due, 10 ms to 10 s; null where it does not. */
  high(kind: NemesisKind): number | null {
    return this.plans.get(kind)?.high_us ?? null
  }

  did(kind: string, t_us: number): void {
    this.injected.set(kind, (this.injected.get(kind) ?? 0) + 1)
    this.told.push({ t_us, text: kind })
  }

  /** Log-uniform between two times, µs. */
  between(of: string, least_us: number, most_us: number): number {
    return Math.round(least_us * Math.exp(this.dice(of) * Math.log(most_us / least_us)))
  }
  pick<T>(of: string, from: readonly T[]): T | undefined {
    return from[Math.floor(this.dice(of) * from.length)]
  }
  /** Uniform in [0, 1), of a generator of its own for each purpose: leaving one out does not move the others. */
  dice(of: string): number {
    const found = this.forks.get(of) ?? this.chance.fork(of)
    this.forks.set(of, found)
    return found.next()
  }
}

/** One character of a message becomes another, or is lost. */
export function garbled(text: string, nemesis: Mischief): string {
  const at = Math.floor(nemesis.dice('garble') * text.length)
  const other =
    nemesis.dice('garble') < 0.3 ? '' : String.fromCharCode(32 + Math.floor(nemesis.dice('garble') * 95))
  return text.slice(0, at) + other + text.slice(at + 1)
}
