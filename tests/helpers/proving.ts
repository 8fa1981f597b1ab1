import type { Plan, Proof } from '../../src/plan/index.js'
import type { Under } from '../../src/sequencer/prove-parts.js'
import type { ChannelState, Draft, ProofState, RailState, State } from '../../src/sequencer/state.js'
import { momentOf, now_us, standing } from './moment.js'
import { smallPlan } from './small-plan.js'

/* One moment of a proof on HT at 250 V, with the bias beside it. It is the last step but one, and the intent of it is in the record. */

export const proofOf = (of: Proof['of'], more: Partial<Proof> = {}): Proof => ({
  ...{ of, channel: 'ht.1', limit_A: null, level: null, within_s: 10 },
  because: 'Invented for this test.',
  ...more,
})

/** It was told three seconds before. */
export const told_us = now_us - 3e6
const told: ProofState = {
  ...{ told_us, from_V: 250, said_before: 'voltage', said_during: 'current', seen_us: null, fired: null },
  ...{ off: false, refused: null, result: null, zeroed: false, others: {} },
}

const planFor = (proof: Proof, kind: Plan['kind']): Plan =>
  smallPlan((plan) => ({
    ...plan,
    kind,
    steps: plan.steps.flatMap((step) =>
      step.index === 8
        ? [
            { ...step, do: 'prove', rail: 'HT', proof },
            { ...step, index: 9 },
          ]
        : [step],
    ),
  }))

export interface At {
  readonly part?: State['part']
  readonly HT?: Partial<RailState>
  /** What is known of outputs; of each other one that it is on. */
  readonly channels?: Readonly<Record<string, Partial<ChannelState>>>
  readonly proof?: Partial<ProofState>
  /** Of the plan: on a dummy load, unless a test says otherwise. */
  readonly kind?: Plan['kind']
  readonly more?: Partial<State>
}
export function under(proof: Proof, { part = 'prove watch', HT, channels, ...at }: At = {}): Under {
  const plan = planFor(proof, at.kind ?? 'qualify')
  const rails = { ...standing(plan, 'HT', 250, 0.05, HT), ...standing(plan, 'BIAS', 40, 0.01) }
  const begun = momentOf(plan, 7).s.channels
  const d = momentOf(plan, 7, {
    ...{ part, part_us: now_us - 2e6, rails, proof: { ...told, ...at.proof } },
    channels: Object.fromEntries(
      Object.entries(begun).map(([name, known]) => [
        name,
        { ...known, output: 'on' as const, set_V: 40, ...channels?.[name] },
      ]),
    ),
    intent: { id: 1, recorded: true },
    ...at.more,
  })
  return { d, step: d.s.plan.steps[7]!, proof, rail: plan.rails['HT']!, state: d.s.rails['HT']! }
}
/** What was told to the line. */
export const sent = (d: Draft): string[] =>
  d.out.flatMap((each) => (each.kind === 'line' ? [`${each.do} ${each.channel}`] : []))
