import { version } from '../helpers/version.js'
import { actsOf, type Expected, neverAsked } from './signals-acts.js'
import type { SignalParts } from './signals-bench.js'
import { type Down, downRails } from './signals-down.js'
import { expectedOf, notMet } from './signals-expected.js'
import { type Moment, moments, type Signal, signalNames, type SignalWay, waysOf } from './signals-list.js'
import { SpoiltSignal } from './signals-spoilt.js'
import { type Simulated, simulateWith } from './simulation.js'

export interface Spoilt {
  readonly signal: Signal
  readonly way: SignalWay
  readonly moment: Moment
  /** Code of what ended it, or how it ended. */
  readonly act: string
  /**
   * To everything told off, s: from the first spoilt answer, or from when it counted (its rail told on or raised, HT wanted), whichever
   * was later; 0 where that never came. Null where nothing went off because of it.
   */
  readonly within_s: number | null
  /** What must come of it, by name (`signals-expected.ts`), and its longest time; null: nothing has to go off. */
  readonly expected: string
  readonly most_s: number | null
  /** Where it goes off already: what was truly off by when, each beside its longest time. Empty elsewhere. */
  readonly down: readonly { readonly what: string; readonly text: string; readonly right: boolean }[]
  /** How it differs from that; null: it does not. */
  readonly wrong: string | null
  readonly broken: Simulated['broken']
}

/** The reading stays spoilt, so nothing is over: where OFF would be confirmed by it the run ends with the alarm, which is an invariant of its own. */
const overOnly = 'once the faults are over the outputs are confirmed off'

/** One signal spoilt in one way from one moment on. */
export function spoil(parts: SignalParts, signal: Signal, way: SignalWay, moment: Moment): Spoilt {
  const part = parts(signal, moment)
  const nemesis = new SpoiltSignal(part, signal, way, moment)
  const run = simulateWith(part, 1, nemesis)
  const name = expectedOf(signal, way, moment)
  const expected: Expected = actsOf(part)[name]
  const { acts, within_s: most_s, from } = expected
  const act = nemesis.began_us === null ? neverAsked : (run.reason ?? run.how)
  const off = nemesis.began_us === null || run.reason === null || moment === 'going off' ? null : run.off_s
  const within_s = off === null ? null : Math.max(0, off - (nemesis.countedFrom(from) ?? off * 1e6) / 1e6)
  const late = most_s !== null && (within_s ?? Infinity) > most_s
  const down =
    expected.down === undefined || act === neverAsked ? [] : compared(expected.down, seenDown(nemesis, run))
  const wrong = !acts.includes(act)
    ? `${act}, and ${acts.join(' or ')} is expected`
    : late
      ? `${act} after ${within_s?.toFixed(1) ?? '–'} s, and ${most_s.toFixed(1)} s is expected`
      : (down.find(({ right }) => !right)?.text ?? null)
  const broken = run.broken.filter(({ invariant }) => invariant !== overOnly)
  return { signal, way, moment, act, within_s, expected: name, most_s, down, wrong, broken }
}

/** s from the decision to go off; null: not off at the end, no alarm. */
type Seen = Readonly<Record<keyof Down, number | null>>

function seenDown({ off_us, down_us }: SpoiltSignal, run: Simulated): Seen {
  const since = (t_us: number | null | undefined): number | null =>
    t_us == null || off_us === null ? null : Math.max(0, t_us - off_us) / 1e6
  const alarm = run.entries.find((each) => each.entry === 'event' && each.event.what === 'alarm')
  const { HT, heaters, bias } = down_us
  return {
    HT: since(HT),
    heaters: since(heaters),
    bias: since(bias),
    alarm: since(alarm?.entry === 'event' ? alarm.event.t_us : null),
  }
}

function compared(expected: Down, seen: Seen): Spoilt['down'] {
  return [...downRails, 'alarm' as const].map((what) => {
    const [most, s] = [expected[what], seen[what]]
    const right = most === 'either' || (typeof most === 'number' ? s !== null && s <= most : s === null)
    const bound = typeof most === 'number' ? ` of ${most.toFixed(1)} s` : right ? '' : `, not ${most}`
    const never = what === 'alarm' ? 'no alarm' : `${what} stays`
    const text =
      s !== null
        ? `${what} ${s.toFixed(1)} s${bound}`
        : right
          ? never
          : `${never}${bound.replace(' of', ', not off in')}`
    return { what, text, right }
  })
}

/** One line of the table: what each way came to at each moment. */
export function rowOf(cells: readonly Spoilt[]): string {
  const first = cells[0]
  if (first === undefined) return ''
  const told = cells.map(({ act, within_s, most_s, expected, down, wrong }) => {
    const time =
      within_s === null
        ? ''
        : `, ${within_s.toFixed(1)} s${most_s === null ? '' : ` of ${most_s.toFixed(1)} s`}`
    const off = down.length === 0 ? '' : `; ${down.map(({ text }) => text).join(', ')}`
    return `${wrong === null ? '' : `NOT AS EXPECTED: ${wrong}; `}${expected}: ${act}${time}${off}`
  })
  return `| ${first.signal} | ${first.way} | ${told.join(' | ')} |`
}

/** The table, for people: `told` is called with each row as it comes. `only`: of signals whose names have these words. */
export function signalTable(
  parts: SignalParts,
  told: (row: string) => void,
  only: string,
): { table: string; broken: number; wrong: number } {
  const rows: string[] = []
  let [broken, wrong] = [0, 0]
  for (const signal of signalNames.filter((name) => name.includes(only)))
    for (const way of waysOf(signal)) {
      const cells = moments.map((moment) => spoil(parts, signal, way, moment))
      for (const { moment, broken: of } of cells)
        for (const each of of) told(`BROKEN, ${moment}: ${JSON.stringify(each)}`)
      broken += cells.reduce((sum, cell) => sum + cell.broken.length, 0)
      wrong += cells.filter((cell) => cell.wrong !== null).length
      const row = rowOf(cells)
      rows.push(row)
      told(row)
    }
  const legend = Object.entries<Expected>(actsOf(parts('HT volts', 'HT standing'))).map(
    ([name, { acts, within_s, from, because }]) =>
      `| ${name} | ${acts.join(', ')} | ${within_s === null ? '–' : `${within_s.toFixed(1)} s from when ${from}`} | ${because} |`,
  )
  return {
    table: [...head(broken, wrong), ...rows, ...legendHead, ...legend, ...unmet, ''].join('\n'),
    broken,
    wrong,
  }
}

const head = (broken: number, wrong: number): readonly string[] => [
  '# What each reading may do, what must come of it, and what does',
  '',
  `Made by \`npm run simulate -- --signals tests/faults/SIGNALS.md\` (program at ${version}); tests hold some of its cells against the program each time.`,
  'A simulated run of the hailer in `tests/simulator/set` (limits as any plan has them, five rounds of readings a second), whose one',
  'reading is spoilt in one way from one moment on. Regulation and over-current are read by a second bench, the same but that its supplies have a',
  'status register. Each cell says what must come of it, by its name in the second table, which was written down before',
  '(`tests/simulator/signals-expected.ts`); then the rule that ended the run, and the seconds until everything was told off, of those it may take: from the first',
  'spoilt answer, or from when the reading counted. A rule without seconds turned an orderly run-down into an urgent OFF. "ended: completed" means that no',
  'rule ended the run: what stands still looks steady, and a current that is too low is asked about, not tripped on (the rehearsed person goes on).',
  'Against that stand the other readings of the same rail, the limits in the supply itself, and a meter of your own.',
  '"Question open" is a moment in which a person is asked to turn a control outside the case, with HT at 100 V, and takes five seconds and more.',
  'In "going off" each output has its own time, from the decision to go off until it truly is off, whatever is read of it; "stays" is a bias that must not go',
  'since nothing shows that HT is down, and "alarm" when somebody was first told that an output is not confirmed off.',
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

/** The faults of the program that are known by these runs. */
const unmet =
  notMet.size === 0
    ? []
    : [
        '',
        '## Where the program does otherwise',
        '',
        ...[...notMet].map(([cell, how]) => `- ${cell}: ${how}.`),
      ]
