import type { State } from '../../src/sequencer/index.js'
import { version } from '../helpers/version.js'
import { OneThing } from './nemesis.js'
import type { Parts } from './parts.js'
import { actsOf, expectedOf, type From } from './signals-expected.js'
import { type Simulated, simulateWith } from './simulation.js'

/** What is read over the lines: the port it comes by, and what its question looks like. */
const signals = {
  'HT volts': { port: 'high', asks: /MEAS:VOLT/i, rail: 'HT' },
  'HT current': { port: 'high', asks: /MEAS:CURR/i, rail: 'HT' },
  'heater volts': { port: 'low', asks: /NSEL 1;.*MEAS:VOLT/i, rail: 'heaters' },
  'heater current': { port: 'low', asks: /NSEL 1;.*MEAS:CURR/i, rail: 'heaters' },
  'bias volts': { port: 'low', asks: /NSEL 2;.*MEAS:VOLT/i, rail: 'bias' },
  'bias current': { port: 'low', asks: /NSEL 2;.*MEAS:CURR/i, rail: 'bias' },
  'grid return volts': { port: 'grid return meter', asks: /\?/, rail: 'bias' },
} as const
export type Signal = keyof typeof signals
export const signalNames = Object.keys(signals) as Signal[]

/** What can become of it. The last two are what a supply says for "no value", and noise. */
export const ways = ['off', 'stuck', 'three times', 'a third', 'late', 'not a number', 'noise'] as const
export type SignalWay = (typeof ways)[number]

/** Moments of a run in which it begins. */
export const moments = ['hook-up check', 'warm-up', 'HT rising', 'HT standing', 'going off'] as const
export type Moment = (typeof moments)[number]

const late_us = 2_000_000

class SpoiltSignal extends OneThing {
  /** When the first answer was spoilt. */
  began_us: number | null = null
  private readonly since: Partial<Record<From, number>> = {}
  private now = false
  private last = ''

  constructor(
    private readonly parts: Parts,
    private readonly signal: Signal,
    private readonly way: SignalWay,
    private readonly moment_: Moment,
  ) {
    super()
  }

  looks(state: State): void {
    this.now ||= this.isNow(state)
    if (this.began_us === null) return
    if (state.rails[signals[this.signal].rail]?.energised === true)
      this.since['its rail was on'] ??= state.t_us
    const step = state.plan.steps[state.step]
    if (step?.rail === 'HT' && step.do === 'raise') this.since['HT was wanted'] ??= state.t_us
  }
  /** When it began to count; null: never. */
  countedFrom(from: From): number | null {
    return from === 'it began' ? this.began_us : (this.since[from] ?? null)
  }

  private isNow(state: State): boolean {
    const step = this.parts.plan.steps[state.step]
    if (this.moment_ === 'going off') return state.phase === 'making off'
    if (state.phase !== 'running' || step === undefined) return false
    const raises = (rail: string): boolean => step.do === 'raise' && step.rail === rail
    switch (this.moment_) {
      case 'hook-up check':
        return step.do === 'hook-up check' && step.rail === signals[this.signal].rail && state.part !== 'gate'
      case 'warm-up':
        return raises('heaters') && state.part === 'hold'
      case 'HT rising':
        return raises('HT') && state.part === 'ramp' && (state.rails['HT']?.set_V ?? 0) > 60
      case 'HT standing':
        return raises('HT') && state.part === 'hold' && (state.rails['HT']?.set_V ?? 0) > 60
    }
  }

  answers(
    port: string,
    question: string,
    reply: string,
    t_us: number,
  ): { text: string; late_us: number } | null {
    const of = signals[this.signal]
    if (port !== of.port || !of.asks.test(question)) return { text: reply, late_us: 0 }
    const before = this.last
    if (!this.now) {
      this.last = reply
      return { text: reply, late_us: 0 }
    }
    this.began_us ??= t_us
    this.did(`for good: ${this.signal} ${this.way}`, t_us)
    const end = /[\r\n]*$/.exec(reply)?.[0] ?? ''
    const times = (factor: number): string => `${(Number(reply.trim()) * factor).toFixed(4)}${end}`
    switch (this.way) {
      case 'off':
        return null
      case 'stuck':
        return { text: before === '' ? reply : before, late_us: 0 }
      case 'three times':
        return { text: times(3), late_us: 0 }
      case 'a third':
        return { text: times(1 / 3), late_us: 0 }
      case 'late':
        return { text: reply, late_us }
      case 'not a number':
        return { text: `9.91E37${end}`, late_us: 0 }
      case 'noise':
        return { text: `\u00a5?~\u0001k${end}`, late_us: 0 }
    }
  }

  hits(): boolean {
    return false
  }
  between(_of: string, least_us: number): number {
    return least_us
  }
  dice(): number {
    return 0.3
  }
}

export interface Spoilt {
  readonly signal: Signal
  readonly way: SignalWay
  readonly moment: Moment
  /** Code of what ended it, or how it ended. */
  readonly act: string
  /**
   * To everything off, s: from the first spoilt answer, or from when it counted (its rail told on, HT wanted), whichever was later; 0
   * where that never came. Null where nothing went off because of it.
   */
  readonly within_s: number | null
  /** What must come of it, by name (`signals-expected.ts`), and its longest time; null: nothing has to go off. */
  readonly expected: string
  readonly most_s: number | null
  /** How it differs from that; null: it does not. */
  readonly wrong: string | null
  readonly broken: Simulated['broken']
}

/** The reading stays spoilt, so nothing is over: where OFF would be confirmed by it the run ends with the alarm, which is an invariant of its own. */
const overOnly = 'once the faults are over the outputs are confirmed off'

/** One signal spoilt in one way from one moment on. */
export function spoil(parts: Parts, signal: Signal, way: SignalWay, moment: Moment): Spoilt {
  const nemesis = new SpoiltSignal(parts, signal, way, moment)
  const run = simulateWith(parts, 1, nemesis)
  const expected = expectedOf(signal, way, moment)
  const { acts, within_s: most_s, from } = actsOf(parts.plan)[expected]
  const act = nemesis.began_us === null ? 'never asked then' : (run.reason ?? run.how)
  const off = nemesis.began_us === null || run.reason === null || moment === 'going off' ? null : run.off_s
  const within_s = off === null ? null : Math.max(0, off - (nemesis.countedFrom(from) ?? off * 1e6) / 1e6)
  const late = most_s !== null && (within_s ?? Infinity) > most_s
  const wrong = !acts.includes(act)
    ? `${act}, and ${acts.join(' or ')} is expected`
    : late
      ? `${act} after ${within_s?.toFixed(1) ?? '–'} s, and ${most_s.toFixed(1)} s is expected`
      : null
  const broken = run.broken.filter(({ invariant }) => invariant !== overOnly)
  return { signal, way, moment, act, within_s, expected, most_s, wrong, broken }
}

/** One line of the table: what each way came to at each moment. */
export function rowOf(cells: readonly Spoilt[]): string {
  const first = cells[0]
  if (first === undefined) return ''
  const told = cells.map(({ act, within_s, most_s, expected, wrong }) => {
    const time =
      within_s === null
        ? ''
        : `, ${within_s.toFixed(1)} s${most_s === null ? '' : ` of ${most_s.toFixed(1)} s`}`
    return `${wrong === null ? '' : `NOT AS EXPECTED: ${wrong}; `}${expected}: ${act}${time}`
  })
  return `| ${first.signal} | ${first.way} | ${told.join(' | ')} |`
}

/** The whole table, for people: `told` is called with each row as it comes. */
export function signalTable(
  parts: Parts,
  told: (row: string) => void,
): { text: string; broken: number; wrong: number } {
  const rows: string[] = []
  let [broken, wrong] = [0, 0]
  for (const signal of signalNames)
    for (const way of ways) {
      const cells = moments.map((moment) => spoil(parts, signal, way, moment))
      broken += cells.reduce((sum, cell) => sum + cell.broken.length, 0)
      wrong += cells.filter((cell) => cell.wrong !== null).length
      const row = rowOf(cells)
      rows.push(row)
      told(row)
    }
  const legend = Object.entries(actsOf(parts.plan)).map(
    ([name, { acts, within_s, from, because }]) =>
      `| ${name} | ${acts.join(', ')} | ${within_s === null ? '–' : `${within_s.toFixed(1)} s from when ${from}`} | ${because} |`,
  )
  return { text: [...head(broken, wrong), ...rows, ...legendHead, ...legend, ''].join('\n'), broken, wrong }
}

const head = (broken: number, wrong: number): readonly string[] => [
  '# What each reading may do, what must come of it, and what does',
  '',
  `Made by \`npm run simulate -- --signals tests/faults/SIGNALS.md\` (program at ${version}); tests hold some of its cells against the program each time.`,
  'A simulated run of the hailer in `tests/simulator/set` (limits as any plan has them, five rounds of readings a second), whose one',
  'reading is spoilt in one way from one moment on. Each cell says what must come of it, by its name in the second table, which was written down before',
  '(`tests/simulator/signals-expected.ts`); then the rule that ended the run, and the seconds until everything was off, of those it may take: from the first',
  'spoilt answer, or from when the reading counted. A rule without seconds turned an orderly run-down into an urgent OFF. "ended: completed" means that no',
  'rule ended the run: what stands still looks steady, and a current that is too low is asked about, not tripped on (the rehearsed person goes on).',
  'Against that stand the other readings of the same rail, the limits in the supply itself, and a meter of your own.',
  broken === 0
    ? 'Every run of the table kept all invariants, and ended with its outputs confirmed off or, where OFF is confirmed by what was spoilt, with the alarm.'
    : `**${broken} invariants were broken in these runs.**`,
  wrong === 0 ? 'Every cell is as expected.' : `**${wrong} cells are not as expected.**`,
  '',
  `| reading | way | ${moments.join(' | ')} |`,
  `|${' --- |'.repeat(moments.length + 2)}`,
]

const legendHead = [
  '',
  '## What must come of it',
  '',
  '| name | act | at most | where the figure comes from |',
  '| --- | --- | --- | --- |',
]
