import type { Way } from './signals-acts.js'
import {
  type FigureWay,
  type Moment,
  moments,
  type Signal,
  type SignalWay,
  type StateWay,
} from './signals-list.js'

/*
 * What must come of each spoilt reading, written down before it is tried: for every reading, way and moment an act of `signals-acts.ts`,
 * by its name.
 */

type Row = readonly [hookUp: Way, warmUp: Way, rising: Way, standing: Way, asked: Way, goingOff: Way]
type Rows<Its extends SignalWay> = Readonly<Record<Its, Row>>

/** While a question is open the same holds as while HT stands, since no rule waits for a person: `asked` where the rise behind it, or its lower volts, tell otherwise. */
const row = (
  hookUp: Way,
  warmUp: Way,
  rising: Way,
  standing: Way,
  goingOff: Way,
  asked: Way = standing,
): Row => [hookUp, warmUp, rising, standing, asked, goingOff]
const always = (way: Way, goingOff: Way): Row => row(way, way, way, way, goingOff)
const steady = (hookUp: Way, warmUp: Way, goingOff: Way): Row =>
  row(hookUp, warmUp, 'passes: steady', 'passes: steady', goingOff)

const gone = (goingOff: Way): Row => row('silent at ON', 'silent at ON', 'silent', 'silent', goingOff)
/** No value, in each of the ways that there is none. */
const none = (of: (goingOff: Way) => Row, goingOff: Way, late: Way) => {
  const its = of(goingOff)
  return { off: its, late: of(late), 'not a number': its, noise: its } as const
}
const noHT = none(gone, 'down: HT unseen', 'down: HT late')
const noOther = none(gone, 'down: the last unseen', 'down: the last late')

const meterGone = row('wrong side', 'lost at HT', 'silent', 'silent', 'down')

const figures = {
  'HT volts': {
    ...noHT,
    stuck: row(
      ...(['out of its window', 'does not arrive', 'does not arrive', 'passes: steady'] as const),
      ...(['down: HT unseen', 'does not arrive'] as const),
    ),
    'three times': row(
      ...(['too much', 'too much, on the way', 'too much', 'no number'] as const),
      ...(['down: HT reads high', 'too much'] as const),
    ),
    'a third': row('out of its window', 'does not arrive', 'does not arrive', 'off its set-point', 'down'),
  },
  'HT current': {
    ...noHT,
    stuck: row(
      ...(['out of its window', 'passes: steady', 'passes: steady', 'passes: steady'] as const),
      ...(['down: HT carries current', 'asked'] as const),
    ),
    'three times': row('out of its window', 'too much, on the way', 'too much', 'too much', 'down: too much'),
    'a third': row('out of its window', 'asked', 'asked', 'asked', 'down'),
  },
  'heater volts': {
    ...noOther,
    stuck: steady('out of its window', 'passes: steady', 'down: the last unseen'),
    'three times': row('out of its window', 'no number', 'no number', 'no number', 'down'),
    'a third': row(
      'out of its window',
      'off its set-point',
      'off its set-point',
      'off its set-point',
      'down',
    ),
  },
  'heater current': {
    ...noOther,
    stuck: steady('out of its window', 'passes: steady', 'down: the last unseen'),
    'three times': always('too much', 'down: too much'),
    'a third': row('asked', 'asked', 'lost', 'lost', 'down'),
  },
  'bias volts': {
    ...noOther,
    stuck: steady('out of its window', 'does not arrive', 'down: the last unseen'),
    'three times': row('too much', 'too much, on the way', 'too much', 'too much', 'down: too much'),
    'a third': row('out of its window', 'does not arrive', 'off its set-point', 'off its set-point', 'down'),
  },
  'bias current': {
    ...noOther,
    stuck: steady('out of its window', 'lost at HT', 'down: the last unseen'),
    'three times': row('out of its window', 'too much, on the way', 'too much', 'too much', 'down: too much'),
    'a third': row('out of its window', 'lost at HT', 'lost', 'lost', 'down'),
  },
  'grid return volts': {
    off: meterGone,
    late: meterGone,
    'not a number': meterGone,
    noise: meterGone,
    stuck: steady('wrong side', 'lost at HT', 'down'),
    'three times': row('wrong side', 'passes: more', 'passes: more', 'passes: more', 'down'),
    'a third': row('wrong side', 'lost at HT', 'lost', 'lost', 'down'),
  },
} as const satisfies Partial<Record<Signal, Rows<FigureWay>>>

/** An output that is off until later is asked in vain only by its ON. */
const outputLater = (goingOff: Way): Row =>
  row('silent at ON', 'silent at ON', 'passes: measured', 'passes: measured', goingOff)
const outputNow = (goingOff: Way): Row =>
  row('silent at ON', 'passes: measured', 'passes: measured', 'passes: measured', goingOff)
const unheard = (goingOff: Way): Row => always('passes: measured', goingOff)
const isSo = (goingOff: Way): Row => always('passes: so it is', goingOff)

const fires = {
  stuck: always('passes: steady', 'down'),
  'says yes': always('fired', 'down: fired'),
  'says no': isSo('down'),
} as const
const inDoubt = none(unheard, 'down: in doubt', 'down: late in doubt')
const lastInDoubt = none(unheard, 'down: the last in doubt', 'down: the last in doubt')

const asRisen = (rising: Way): Row =>
  row('holds its current, risen', 'holds its current, risen', rising, 'holds its current', 'down')

const errors = (way: Way, again: Way): Row => [way, way, 'not asked', 'not asked', again, 'not asked']
const errorRows = (again: boolean): Rows<StateWay> => {
  const it = (way: Way): Row => errors(way, again ? way : 'not asked')
  return {
    off: it('no outcome'),
    late: it('no outcome'),
    'not a number': it('no outcome'),
    noise: it('no outcome'),
    stuck: it('passes: steady'),
    'says yes': it('refused'),
    'says no': it('passes: so it is'),
  }
}

const states = {
  'HT output': {
    ...none(outputLater, 'down: HT unseen', 'down: HT late'),
    stuck: steady('not as told', 'not as told', 'down: HT unseen'),
    'says yes': row('on after OFF', 'on unasked', 'passes: so it is', 'passes: so it is', 'down: HT unseen'),
    'says no': row('not as told', 'not as told', 'off by itself', 'off by itself', 'down'),
  },
  'heater output': {
    ...none(outputNow, 'down: the last unseen', 'down: the last late'),
    stuck: steady('not as told', 'passes: steady', 'down: the last unseen'),
    'says yes': row(
      'on after OFF',
      'passes: so it is',
      'passes: so it is',
      'passes: so it is',
      'down: the last unseen',
    ),
    'says no': row('not as told', 'off by itself', 'off by itself', 'off by itself', 'down'),
  },
  'bias output': {
    ...none(outputLater, 'down: the last unseen', 'down: the last late'),
    stuck: steady('not as told', 'not as told', 'down: the last unseen'),
    'says yes': row(
      'on after OFF',
      'on unasked',
      'passes: so it is',
      'passes: so it is',
      'down: the last unseen',
    ),
    'says no': row('not as told', 'not as told', 'off by itself', 'off by itself', 'down'),
  },
  'HT over-voltage': { ...inDoubt, ...fires },
  'heater over-voltage': { ...lastInDoubt, ...fires },
  'bias over-voltage': { ...lastInDoubt, ...fires },
  'HT over-current': { ...inDoubt, ...fires },
  'HT regulation': {
    ...inDoubt,
    stuck: always('passes: steady', 'down'),
    'says yes': asRisen('holds its current, risen'),
    'says no': isSo('down'),
  },
  'heater regulation': {
    ...lastInDoubt,
    stuck: always('passes: steady', 'down'),
    'says yes': row('never warm', 'holds its current', 'holds its current', 'holds its current', 'down'),
    'says no': isSo('down'),
  },
  'bias regulation': {
    ...lastInDoubt,
    stuck: always('passes: steady', 'down'),
    'says yes': asRisen('holds its current'),
    'says no': isSo('down'),
  },
  'HT supply’s errors': errorRows(true),
  'low supply’s errors': errorRows(false),
} as const satisfies Partial<Record<Signal, Rows<StateWay>>>

const expected: Readonly<Record<Signal, Readonly<Partial<Record<SignalWay, Row>>>>> = {
  ...figures,
  ...states,
}

/** The name of what must come of it. */
export function expectedOf(signal: Signal, way: SignalWay, moment: Moment): Way {
  return expected[signal][way]?.[moments.indexOf(moment)] ?? 'down'
}

/** A cell by its name. */
export const cellOf = (signal: Signal, way: SignalWay, moment: Moment): string =>
  `${signal}, ${way}, ${moment}`

/** Cells in which the program does otherwise, and how: faults of it, none of them right as it is. */
export const notMet: ReadonlyMap<string, string> = new Map()
