import { loadAll } from '../../../src/files/index.js'
import { makePlan, type Plan } from '../../../src/plan/index.js'
import type { Known, RunEntry, RunEvent } from '../../../src/record/index.js'
import { streamsOf } from '../../../src/story/index.js'

/**
 * A long run made up for measuring: four rails, volts and current of each, at ten samples a second, arriving with a
 * millisecond of jitter and three counts of noise, between ticks; every step of the plan with its intent and judgements; and
 * of what else was fed and asked (set-points of ramps) as much a sample as the demo's reform has.
 */
const period_us = 100_000
const samplesPerFed = 200

/** The demo's plan with a second HT rail, so that there are four. */
function planOf(): Plan {
  const { value, problems } = loadAll('profiles/tern-rock/receive.yaml')
  const plan = value === null ? null : makePlan(value.profile, value.equipment, value.bench).plan
  const HT = plan?.rails['HT']
  if (plan === null || HT === undefined)
    throw new Error(`The demo has no plan. ${problems.map(({ what }) => what).join('\n')}`)
  const second = 'second HT'
  return {
    ...plan,
    rails: {
      ...plan.rails,
      [second]: {
        ...HT,
        name: second,
        channels: HT.channels.map((part) => ({ ...part, channel: `second.${part.channel}` })),
      },
    },
    meters: {},
    steps: plan.steps.map((step) => {
      const limits = step.limits['HT']
      return limits === undefined ? step : { ...step, limits: { ...step.limits, [second]: limits } }
    }),
  }
}

/** Batches of entries, `about` readings in all; their arrays are made one at a time and may be let go. */
export function* madeRun(about: number, seed: number): Generator<RunEntry[], void> {
  const plan = planOf()
  const streams = streamsOf(plan)
  const rounds = Math.ceil(about / streams.length)
  const noise = noiseOf(seed)
  yield [
    { entry: 'known', known: knownOf(plan, seed) },
    ...streams.map((stream): RunEntry => ({ entry: 'stream', stream })),
    happened(0, 'begin', 'cautions acknowledged', null, null, true),
  ]
  const roundsPerStep = Math.ceil(rounds / plan.steps.length)
  const judgedAt = Math.floor(roundsPerStep * 0.9)
  const values = streams.map(({ unit }) => (unit === 'V' ? 25_000 : 4_000))
  let batch: RunEntry[] = []
  let fed = 0
  for (let round = 0; round < rounds; round++) {
    const t_us = round * period_us
    const at = Math.floor(round / roundsPerStep)
    const step = plan.steps[at]
    if (step !== undefined && round % roundsPerStep === 0)
      batch.push(
        happened(t_us, 'intent', `step ${step.index}`, step.rail, step.index, true),
        happened(t_us, 'step', `step ${step.index}`, step.rail, step.index, false),
      )
    if (step !== undefined && round % roundsPerStep === judgedAt)
      for (const rail of Object.keys(step.limits))
        batch.push(happened(t_us, 'judgement', `${rail} in band`, rail, step.index, false))
    batch.push({ entry: 'tick', t_us, late_us: 0, slept_us: 0 })
    for (const [i, { id }] of streams.entries()) {
      const n = (values[i] ?? 0) + Math.round(3 * noise())
      batch.push({
        entry: 'reading',
        stream: id,
        t_us: t_us + 9000 * (i + 1) + Math.round(1000 * noise()),
        n,
        k: 4,
      })
    }
    if (round * streams.length >= fed * samplesPerFed) {
      fed++
      const channel = 'high.out'
      batch.push(
        happened(t_us, 'asked', `set ${channel}`, null, null, false, {
          kind: 'line',
          do: 'set',
          channel,
          id: fed,
          volts: 12.3,
        }),
        happened(t_us, 'fed', 'done', null, null, false, { kind: 'done', t_us, id: fed }),
      )
    }
    if (batch.length >= 4096) {
      yield batch
      batch = []
    }
  }
  yield [...batch, endingAt(rounds * period_us, plan.steps.length)]
}

function knownOf(plan: Plan, seed: number): Known {
  return {
    run: `20261101-101500-made-for-measuring-${String(seed).padStart(4, '0')}`,
    started: '2026-11-01T10:15:00.000Z',
    version: 'measured',
    command: 'run',
    plan,
    files: {},
    identities: {},
    seed,
    faults: [],
  }
}

function happened(
  t_us: number,
  what: string,
  text: string,
  rail: string | null,
  step: number | null,
  durable: boolean,
  data: RunEvent['data'] = {},
): RunEntry {
  return {
    entry: 'event',
    event: { t_us, from: 'controller', what, text, rail, step, intent: null, data, durable },
  }
}

function endingAt(t_us: number, steps_done: number): RunEntry {
  return {
    entry: 'ending',
    t_us,
    ending: {
      outcome: 'completed',
      outputs_off: 'confirmed',
      reason: null,
      stored_charge: {},
      hand_rails: {},
      warnings: [],
      steps_done,
      duration_s: t_us / 1e6,
      details: {},
    },
  }
}

/** About normal, mean 0, deviation 1 (four uniform numbers), cheap enough for fifty million. */
function noiseOf(seed: number): () => number {
  let state = seed >>> 0 || 1
  const uniform = (): number => {
    state = (Math.imul(state, 1_664_525) + 1_013_904_223) >>> 0
    return state / 4_294_967_296
  }
  return () => (uniform() + uniform() + uniform() + uniform() - 2) * Math.sqrt(3)
}
