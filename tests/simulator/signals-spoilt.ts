import type { State } from '../../src/sequencer/index.js'
import { type NemesisKind, OneThing } from './nemesis.js'
import type { Part } from './parts.js'
import type { From } from './signals-acts.js'
import { downRails } from './signals-down.js'
import { late_s, type Moment, readOf, type Signal, type SignalWay } from './signals-list.js'

/** HT that counts as standing here: above what may be touched. */
const stands_V = 60
/** Parts of a step in which nothing of it has moved yet. */
const before_rise: ReadonlySet<State['part']> = new Set(['gate', 'hands', 'intent'])

/** One reading is spoilt, in one way, from one moment on and for good. */
export class SpoiltSignal extends OneThing {
  /** When the first answer was spoilt. */
  began_us: number | null = null
  /** When it was decided that the run goes off. */
  off_us: number | null = null
  /** Since when each rail's outputs are truly off, in the end. */
  readonly down_us: Record<string, number | null> = {}
  private readonly since: Partial<Record<From, number>> = {}
  private readonly read
  private now = false
  private stands = false
  private last = ''

  constructor(
    private readonly part: Part,
    signal: Signal,
    private readonly way: SignalWay,
    private readonly moment_: Moment,
    private readonly name = signal,
  ) {
    super()
    this.read = readOf(signal)
  }

  looks(state: State, t_us: number, outputs: Readonly<Record<string, boolean>>): void {
    const ht_V = state.rails['HT']?.set_V ?? 0
    this.stands = state.phase === 'running' && ht_V > stands_V
    this.now ||= this.isNow(state, ht_V)
    this.off_us ??= state.off?.since_us ?? null
    if (this.off_us !== null) this.looksDown(t_us, outputs)
    if (this.began_us === null) return
    const step = state.plan.steps[state.step]
    const { rail } = this.read
    if (state.rails[rail]?.energised === true) this.since['its rail was on'] ??= state.t_us
    if (step?.do !== 'raise') return
    if (step.rail === 'HT') this.since['HT was wanted'] ??= state.t_us
    if (step.rail === rail && !before_rise.has(state.part)) this.since['its rail was to rise'] ??= state.t_us
  }

  /** When it began to count; null: never. */
  countedFrom(from: From): number | null {
    return from === 'it began' ? this.began_us : (this.since[from] ?? null)
  }

  private looksDown(t_us: number, outputs: Readonly<Record<string, boolean>>): void {
    for (const rail of downRails) {
      const on =
        this.part.plan.rails[rail]?.channels.some(({ channel }) => outputs[channel] === true) === true
      this.down_us[rail] = on ? null : (this.down_us[rail] ?? t_us)
    }
  }

  private isNow(state: State, ht_V: number): boolean {
    const step = this.part.plan.steps[state.step]
    if (this.moment_ === 'going off') return state.phase === 'making off'
    if (state.phase !== 'running' || step === undefined) return false
    const raises = (rail: string): boolean => step.do === 'raise' && step.rail === rail
    switch (this.moment_) {
      case 'hook-up check':
        return step.do === 'hook-up check' && step.rail === this.read.rail && state.part !== 'gate'
      case 'warm-up':
        return raises('heaters') && state.part === 'hold'
      case 'HT rising':
        return raises('HT') && state.part === 'ramp' && ht_V > stands_V
      case 'HT standing':
        return raises('HT') && state.part === 'hold' && ht_V > stands_V
      case 'question open':
        return state.prompt !== null && ht_V > stands_V
    }
  }

  answers(
    port: string,
    question: string,
    reply: string,
    t_us: number,
  ): { text: string; late_us: number } | null {
    if (port !== this.read.port || !this.read.asks.test(question)) return { text: reply, late_us: 0 }
    const before = this.last
    if (!this.now) {
      this.last = reply
      return { text: reply, late_us: 0 }
    }
    this.began_us ??= t_us
    this.did(`for good: ${this.name} ${this.way}`, t_us)
    const end = /[\r\n]*$/.exec(reply)?.[0] ?? ''
    const said = (text: string): { text: string; late_us: number } => ({ text: text + end, late_us: 0 })
    const times = (factor: number) => said((Number(reply.trim()) * factor).toFixed(4))
    switch (this.way) {
      case 'off':
        return null
      case 'stuck':
        return { text: before === '' ? reply : before, late_us: 0 }
      case 'three times':
        return times(3)
      case 'a third':
        return times(1 / 3)
      case 'says yes':
        return said(this.read.says?.yes ?? '')
      case 'says no':
        return said(this.read.says?.no ?? '')
      case 'late':
        return { text: reply, late_us: late_s * 1e6 }
      case 'not a number':
        return said('9.91E37')
      case 'noise':
        return said('\u00a5?~\u0001k')
    }
  }

  /** The question that is wanted open stays so for five seconds, longer than any rule may take that does not wait for its answer. */
  hits(kind: NemesisKind): boolean {
    return kind === 'answer late' && this.moment_ === 'question open' && this.stands
  }
  between(_of: string, least_us: number): number {
    return least_us
  }
  dice(): number {
    return 0.3
  }
}
