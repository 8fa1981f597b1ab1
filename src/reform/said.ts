import type { ReformPart, ReformPlan } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { balance_ohm, storage_s } from './feed.js'
import { overTarget } from './limits.js'
import type { Earlier, Experience } from './plan.js'

/* What a plan of forming says in sentences: what is judged, what it cannot separate, how long it takes. */

/** A string is worked at so much of its rating (the published worked case of a balance resistor: 600 of 700 V). */
const inSet = 6 / 7
/** EIA-815 and a European maker's text: 12 h at least. */
const published_s = 12 * 3600

/** What is judged, and what it cannot separate. */
export function said(
  parts: readonly ReformPart[],
  { top_V, rest_s }: Pick<ReformPlan, 'top_V' | 'rest_s'>,
  earlier: Earlier | null,
): string[] {
  const read = parts.filter(({ typed }) => typed !== undefined)
  const unsized = read.filter(({ measured_F }) => measured_F === undefined)
  return [
    ...parts.map(
      (part) =>
        `${part.name}: held against ${part.limit.text} (${part.limit.source}); the smallest leakage this bench tells at ${formatShort(top_V, 'V')} is ${formatShort(part.resolves_A, 'A')}.`,
    ),
    ...parts.flatMap(({ name, joined, parts: of, rated_V, limit }) =>
      joined === 'alone'
        ? []
        : [
            joined === 'series'
              ? `${name} is a string of ${of.join(', ')}: one meter sees their common leakage and not how the volts share out, and a short of one puts nearly all of them on another. So the string gets no more than the lowest rating of one, is held against the limit of one, and no verdict is better than marginal; lifted one by one each comes to its own rating. Back in the set, where ${formatShort(inSet * rated_V, 'V')} stand on it, each wants a resistor of ${formatShort(balance_ohm(of.length, rated_V / of.length, inSet * rated_V, limit.amps), 'Ω')} or less across it to keep them level at that limit (a maker's application note).`
              : `${name} is ${of.join(', ')} in parallel: their leakage is one sum, and which of them leaks is not told.`,
          ],
    ),
    ...parts.flatMap(({ name, feed_ohm, next_feed }) =>
      next_feed === undefined
        ? []
        : [
            `${name}: where it comes to less than 0.95 of ${formatShort(top_V, 'V')} behind ${formatShort(feed_ohm, 'Ω')}, and what it leaks by then makes no more heat there than its can may take, you are asked to put ${formatShort(next_feed.ohm, 'Ω')} in, with everything off and measured dead; behind that one heat is held by its stop rule alone, and the resistor bears a short.`,
          ],
    ),
    ...(read.length === 0
      ? []
      : [
          `${read.map(({ name }) => name).join(', ')}: you are asked what the meter shows, and between two answers nothing watches ${read.length === 1 ? 'it' : 'them'}: what goes wrong meanwhile is bounded by the feed resistor alone.`,
        ]),
    ...(unsized.length === 0
      ? []
      : [
          `${unsized.map(({ name }) => name).join(', ')}: typed readings do not show how a part charges, so that its capacitance stays unknown and no verdict is better than marginal; read it on a capacitance meter, dead, and state it as capacitance:.`,
        ]),
    ...(parts.some(({ case: thermometer }) => thermometer === null)
      ? ['No thermometer stands on every can: heat is judged by volts times leakage alone.']
      : []),
    rest_s > 0
      ? `They rest ${formatShort(rest_s, 's')} before the re-test${rest_s < published_s ? ', which is what a night can afford (our choice): published practice rests 12 to 48 h (EIA-815, a European maker), and what comes back in days is not seen here' : ''}.`
      : 'They do not rest before the re-test: what comes back in an hour or a day is not seen here. Published practice rests 12 to 48 h (EIA-815, a European maker).',
    `Given up when leakage rises after it had fallen, stands above ${overTarget.factor} times its limit after an hour, a part does not follow its volts or takes no charge, or its can takes too much heat, alone or with its other sections. Leakage depends on warmth and is not converted: work at 15 to 35 °C.`,
    ...(earlier === null
      ? []
      : [
          `Taken up from ${earlier.run}: after a fresh check at the lowest step it goes on at the last volts that were held to their end.`,
        ]),
  ]
}

/** The trade's rule for parts that have stood: told beside what is held. */
export const stored = (years: number | null, { top_s }: Pick<ReformPlan, 'top_s'>): string[] =>
  years === null
    ? []
    : [
        `They have stood for ${years} years: the trade's rule of 5 min and one more for every month (second-hand) asks ${formatShort(storage_s(years), 's')} at rated volts, and they are held for ${formatShort(top_s, 's')}.`,
      ]

export const lastsBy = (experience: Experience | null): string =>
  experience === null
    ? 'common practice, no source: 4 min a step, then what is held and rested; what these parts make of it is not known'
    : `as ${experience.of === 1 ? 'the earlier reform' : `the slowest of ${experience.of} earlier reforms`} of this set's parts took (${experience.run}: ${formatShort(experience.climb_s, 's')} to the top), with what is held and rested now`

export const lasts = (expected_s: number, experience: Experience | null, { parts }: ReformPlan): string =>
  `Some ${formatShort(expected_s, 's')} for ${parts.length === 1 ? 'this part' : `these ${parts.length} parts`}: ${lastsBy(experience)}.`
