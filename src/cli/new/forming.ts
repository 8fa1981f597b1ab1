import type { Answers } from './answers.js'
import { benchHead, cutOffText, handMeter, highText } from './bench-text.js'
import type { Asks } from './dialogue.js'
import { pair, yesOrNone } from './typed.js'
import { q, v } from './yaml.js'

type Forming = NonNullable<Answers['forming']>

/* Electrolytics lifted out and formed each behind a resistor of its own, a meter without a line across each. */

export async function askForming(
  dialogue: Asks,
  { HT_supply, capacitors }: Pick<Answers, 'HT_supply' | 'capacitors'>,
): Promise<Forming | null> {
  if (HT_supply === null || capacitors.length === 0) return null
  const lifted = await dialogue.ask({
    ask: 'Will you lift its electrolytics and form each behind a resistor of its own, with a hand meter across each? (yes or no; in the circuit their leakage is not judged)',
    fallback: 'no',
    read: yesOrNone,
  })
  if (lifted === null) return null
  const [feed_ohm, feed_W] = await dialogue.ask({
    ask: '   Those resistors, and what they are rated for?',
    fallback: '100 kΩ, 5 W',
    read: (text) => pair(text, 'Ω', 'W'),
  })
  return { feed_ohm, feed_W }
}

/** The bench of that work: the HT supply, and a meter that stays clipped to each part. */
export function formingBench(a: Answers): string {
  return `# The bench on which the lifted electrolytics are formed: the HT supply, and a meter across each part that you read and type.
${benchHead(a, `forming bench for ${a.name}`)}
supplies:
${highText(a)}${cutOffText(a)}
meters:
${a.capacitors.map((_, at) => handMeter(a, `meter C${at + 1}`, `    at: C${at + 1} +\n    against: forming return\n`)).join('')}`
}

/** Parts of one rating go up together, others in a run of their own: name → text. */
export function formingProfiles(a: Answers, { feed_ohm, feed_W }: Forming): Readonly<Record<string, string>> {
  const ratings = [...new Set(a.capacitors.map(({ rated_V }) => rated_V))]
  return Object.fromEntries(
    ratings.map((rating, n) => {
      const parts = a.capacitors.flatMap(({ rated_V }, at) =>
        rated_V === rating
          ? [
              `    C${at + 1}: { feed: ${v(feed_ohm, 'Ω')}, feed_rated: ${v(feed_W, 'W')}, feed_tolerance: 5 %, feed_by_hand: 1 % }`,
            ]
          : [],
      )
      const of =
        ratings.length > 1 ? `the lifted electrolytics of ${v(rating, 'V')}` : 'the lifted electrolytics'
      return [n === 0 ? 'reform.yaml' : `reform-${n + 1}.yaml`, profileText(a, of, parts)]
    }),
  )
}

function profileText(a: Answers, of: string, parts: readonly string[]): string {
  return `# Forming ${of}: lifted at their positive ends, each behind its own resistor, with a hand meter across
# each. You are asked what they show, so nobody watches between two answers. Each is told good, marginal or replace. Stay with it.
slowglow: profile 1
name: ${q(`${a.name}, forming ${of}`.slice(0, 200))}
kind: reform
equipment: equipment.yaml
bench: forming-bench.yaml
time_budget: 24 h
reform:
  rail: HT
  # What new parts of their time were allowed: JAN-C-62.
  target: period
  built_in: true
  parts:
${parts.join('\n')}
`
}
