import { chance } from '../../src/chance/index.js'
import type { ReformPart } from '../../src/plan/index.js'
import { feedToSee_ohm } from '../../src/reform/feed.js'
import { judgePart } from '../../src/reform/judged.js'
import { type Law, type Oxide, periodLimit_A } from '../../src/virtual/forming.js'
import { type Bench, type Formed, formingPart, formingPlan, formOne } from './forming.js'

/* Drawn electrolytics, each through a whole reform: what was said of it beside what it really is. */

export interface Drawn {
  readonly seed: number
  readonly law: Law
  /** From this share of its rating on its oxide breaks down; null = never. */
  readonly away: number | null
  /** Why the bench was refused, where it was. */
  readonly refused: string | null
  readonly formed: Formed | null
  /** The verdict that the truth calls for: of its real leakage at the volts reached and its real capacitance, by `trueVerdict`. */
  readonly right: string | null
  /** What would be right with the stated errors either way. */
  readonly near: readonly string[]
  readonly part: ReformPart
  readonly F: number
}

const laws: readonly Law[] = ['power', 'exponentials', 'steps']
const marked_uF = [4, 8, 10, 16, 20, 32] as const

export function drawnPart(seed: number): Drawn {
  const source = chance(seed)
  const pick = <T>(list: readonly T[], fallback: T): T =>
    list[Math.floor(source.next() * list.length)] ?? fallback
  const marked = pick(marked_uF, 16) * 1e-6
  const rated_V = pick([350, 450], 450)
  // Most have kept their capacitance; one in six has dried out, some of them wholly, one in twelve shows far too much.
  const fate = source.next()
  const F =
    marked *
    (fate < 1 / 24
      ? Math.exp(Math.log(1e-4) + source.next() * Math.log(1500))
      : fate < 1 / 6
        ? 0.15 + 0.6 * source.next()
        : fate < 1 / 4
          ? 1.5 + 0.4 * source.next()
          : 0.9 + 0.5 * source.next())
  const law = pick(laws, 'power')
  const away = source.next() < 0.12 ? 0.4 + 0.5 * source.next() : null
  // Formed leakage between a thirtieth and three times the limit, evenly in its logarithm.
  const formed_A = periodLimit_A(marked, rated_V) * Math.exp(Math.log(0.03) + source.next() * Math.log(100))
  const oxide: Oxide = {
    F,
    rated_V,
    formed_A,
    fresh: 2 + 25 * source.next(),
    n: 0.5 + 0.5 * source.next(),
    worked_s: 0,
    law,
    seed,
    ...(away !== null && { runs_away: { above: away, over_s: 0 } }),
  }
  const meter_plus = pick([0.05, 0.2, 0.5], 0.2)
  const bench: Bench = {
    supply: {
      of_reading: pick([0.0005, 0.001, 0.002], 0.001),
      plus: 0.2,
      resolution: pick([0.01, 0.1], 0.1),
    },
    meter: {
      of_reading: pick([0.001, 0.003, 0.005], 0.003),
      plus: meter_plus,
      resolution: pick([0.01, 0.1], 0.1),
    },
    off: { supply: [1, 0], meter: [1, 0], feed: 1 },
  }
  const within = (): number => 1.6 * source.next() - 0.8
  const real: Bench = {
    ...bench,
    off: {
      supply: [1 + bench.supply.of_reading * within(), bench.supply.plus * within()],
      meter: [1 + bench.meter.of_reading * within(), meter_plus * within()],
      feed: 1 + 0.01 * within(),
    },
  }
  const first = formingPart({ F: marked, rated_V }, bench)
  // What a person does with the refusal: the resistor that it names, where it names one.
  const named =
    judgePart(first, formingPlan(first, bench)).length === 0
      ? null
      : feedToSee_ohm(first, bench.supply, rated_V, 0.3 * first.limit.amps)
  const part = named === null ? first : formingPart({ F: marked, rated_V, feed_ohm: named }, bench)
  const plan = formingPlan(part, bench)
  const problems = judgePart(part, plan)
  const none = { seed, law, away, part, F, right: null, near: [] }
  if (problems.length > 0) return { ...none, refused: problems[0]?.what ?? '', formed: null }
  const formed = formOne(plan, F, oxide, real, source.fork('noise'))
  const { truth, heldOn } = formed
  const broke = truth.over_s > 0
  // A part that was given up is what it would have come to, had it been held on: else nothing good could be given up.
  const { volts, leak_A } = heldOn ?? truth
  const of = (amps: number, farads: number, V: number): string =>
    trueVerdict({
      leak: amps / part.limit.amps,
      size: farads / marked,
      top: V / plan.top_V,
      rated: V / rated_V,
    })
  const right = broke ? 'replace' : of(leak_A, F, volts)
  const tells_A = part.resolves_A
  const near = [0.97, 1, 1.03].flatMap((of_F) =>
    [-tells_A, 0, tells_A].flatMap((more) =>
      [0.99, 1, 1.01].map((of_V) => of(leak_A + more, F * of_F, volts * of_V)),
    ),
  )
  return { ...none, refused: null, formed, right, near: broke ? ['replace'] : near }
}

/** What physics.md section 4 calls good, marginal and replace, in figures of its own: nothing of what is tried here has a hand in it. */
function trueVerdict(is: {
  /** Shares: of the leakage limit, of what is marked, of the last volts, of the rating. */
  readonly leak: number
  readonly size: number
  readonly top: number
  readonly rated: number
}): string {
  if (is.leak > 1 || is.size < 0.6) return 'replace'
  const doubtful = is.leak > 0.7 || is.size < 0.8 || is.size > 1.5
  return doubtful || is.top < 0.9 || is.rated < 0.85 ? 'marginal' : 'good'
}

/** Called good with more leakage at its last volts than its limit and what the bench tells apart, or with an oxide that breaks down. */
export function isDangerous({ formed, part }: Drawn): boolean {
  if (formed?.verdict !== 'good') return false
  return formed.truth.atTop_A > part.limit.amps + part.resolves_A || formed.truth.over_s > 0
}
/** Half an hour after its oxide began to break down no stop rule had ended it, whatever it was called in the end. */
export const isLetPast = ({ formed }: Drawn): boolean =>
  formed !== null && formed.code === null && formed.truth.over_s > 1800
/** A part that would have come out good, and was given up. */
export const isNuisance = ({ formed, right }: Drawn): boolean =>
  formed !== null && right === 'good' && formed.code !== null
/** Nothing was said of it: the bench was refused, or the verdict is none. */
export const isRefused = ({ refused, formed }: Drawn): boolean =>
  refused !== null || formed === null || formed.verdict === null || formed.verdict === 'not judged'
