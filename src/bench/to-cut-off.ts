import { listed, own, type Path, type Report } from '../quantities/index.js'
import type { WrittenBench } from './shape.js'
import { toMeter } from './to-meter.js'
import type { Bench, CutOff, Meter } from './types.js'

/* The cut-off relay of a bench: its contact is a watched input like any other, and asking for it is what keeps it closed. */

export const cutOffName = 'cut-off'

type Written = NonNullable<WrittenBench['cut_off']>

export const toCutOff = ({ after, cuts }: Written): CutOff => ({ meter: cutOffName, after_s: after, cuts })

/** Fed four times in its period, as a dead-man is. */
export function cutOffMeter({ line, identity, dialect, feed, answer, closed_is, after }: Written): Meter {
  const because = 'the cut-off relay is open: nothing of HT is to be counted on'
  const meter = toMeter({
    ...{ line, identity, dialect, answer, closed_is },
    ask: feed,
    every: after / 4,
    required: true,
    limits: [{ trip: 'open', because }],
    measures: 'contact',
  })
  return { ...meter, feeds: true }
}

export function checkCutOff({ cut_off, supplies, meters }: Bench, written: Written, report: Report): void {
  if (cut_off === undefined) return
  const at = (...path: Path): Path => ['cut_off', ...path]
  if (meters[cutOffName]?.feeds !== true)
    report.error(
      ['meters', cutOffName],
      `the name ${cutOffName} belongs to the cut-off relay`,
      'give the meter another name',
      'key',
    )
  if (!written.feed.endsWith('?'))
    report.error(
      at('feed'),
      `'${written.feed}' is no question: a relay that does not say whether it is closed is not known to be there`,
      'write the question from its manual; it must both feed the relay and be answered',
    )
  checkCuts({ supplies }, 'cut_off', cut_off.cuts, report)
}

/** What a relay or a timer takes may hold no bias: that must outlast HT. */
export function checkCuts(
  { supplies }: Pick<Bench, 'supplies'>,
  key: 'cut_off' | 'outside_timer',
  cuts: readonly string[],
  report: Report,
): void {
  const what = key === 'cut_off' ? 'the cut-off relay' : 'the outside timer'
  cuts.forEach((name, i) => {
    const supply = own(supplies, name)
    if (supply === undefined)
      report.error(
        [key, 'cuts', i],
        `there is no supply '${name}'`,
        listed('supplies are', Object.keys(supplies), 'this file has none that could be read'),
      )
    else if (Object.values(supply.channels).some(({ role }) => role === 'bias'))
      report.error(
        [key, 'cuts', i],
        `${what} would take the bias of ${name} together with its HT, and bias must outlast HT`,
        `feed the bias from a supply that ${key === 'cut_off' ? 'the relay' : 'the timer'} does not cut`,
      )
  })
}
