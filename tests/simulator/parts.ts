import type { Bench } from '../../src/bench/index.js'
import { cutOffMeter, cutOffName, toCutOff } from '../../src/bench/to-cut-off.js'
import type { Chance } from '../../src/chance/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import type { Profile } from '../../src/profile/index.js'
import { qualifiedBench } from '../../src/qualify/index.js'
import { liftedSet, reformPlan } from '../../src/reform/index.js'
import { dead_man, qualification } from '../helpers/unattended.js'

export const kindsOfRun = [
  'bring-up',
  'bring-up with a cut-off relay',
  'bring-up left alone',
  'reform',
  'reform left alone',
] as const
export type KindOfRun = (typeof kindsOfRun)[number]

/** So many runs of each kind; of the others half have a cut-off relay. Reforms take their time: they are few. */
const shares: readonly (readonly [KindOfRun, number])[] = [
  ['reform left alone', 0.01],
  ['reform', 0.01],
  ['bring-up left alone', 0.12],
]
const relayed_part = 0.5

export function drawKind(source: Chance): KindOfRun {
  let dice = source.fork('kind of run').next()
  for (const [kind, share] of shares) {
    if (dice < share) return kind
    dice -= share
  }
  return source.fork('relay').next() < relayed_part ? 'bring-up with a cut-off relay' : 'bring-up'
}

/** What one run is of. */
export interface Part {
  readonly of: KindOfRun
  readonly plan: Plan
  readonly equipment: Equipment
  readonly bench: Bench
  /** The set that really stands behind the bench, where it is another than the plan was made for. */
  readonly behind: Equipment
  /** So many times as long as a bring-up: what happens to it happens that much later. */
  readonly stretch: number
  /** HT that counts as high for what is to strike then, V. */
  readonly high_V: number
}
/** An attended bring-up, and every other kind by its name: planned when it is first asked for. */
export type Parts = Part & { readonly kind: (of: KindOfRun) => Part }

/**
 * The simulator's own small set and bench: one output tube with fixed bias, two supplies on two lines, a meter on a third. Brought up
 * attended, with a cut-off relay, and left alone; and its electrolytics, lifted, formed with somebody there and left alone.
 */
export function loadParts(): Parts {
  const { profile, equipment, bench } = load('hail')
  const on = (of: KindOfRun, its: Bench, alone = false): Part => {
    const { plan, problems } = makePlan({ ...profile, unattended: alone }, equipment, its, {
      unattended: alone,
    })
    if (plan === null) throw new Error(JSON.stringify(problems))
    return { of, plan, equipment, bench: its, behind: equipment, stretch: 1, high_V: 100 }
  }
  const attended = on('bring-up', bench)
  const make = (of: KindOfRun): Part => {
    switch (of) {
      case 'bring-up':
        return attended
      case 'bring-up with a cut-off relay':
        return on(of, withRelay(bench))
      case 'bring-up left alone':
        return on(of, fit(bench), true)
      case 'reform':
        return formed(of, load('forming'), false)
      case 'reform left alone': {
        const forming = load('forming')
        return formed(of, { ...forming, bench: fit(forming.bench) }, true)
      }
    }
  }
  const made = new Map<KindOfRun, Part>()
  const kind = (of: KindOfRun): Part => {
    const part = made.get(of) ?? make(of)
    made.set(of, part)
    return part
  }
  return { ...attended, kind }
}

export function load(name: string): {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
} {
  const { value, problems } = loadAll(`tests/simulator/set/${name}.yaml`)
  if (value === null) throw new Error(JSON.stringify(problems))
  return value
}

function formed(of: KindOfRun, { profile, equipment, bench }: ReturnType<typeof load>, alone: boolean): Part {
  const made = reformPlan(profile, equipment, bench, { unattended: alone })
  if (made.plan === null || made.bench === null || profile.reform === null)
    throw new Error(JSON.stringify(made.problems))
  return {
    ...{ of, plan: made.plan, equipment: made.set, bench: made.bench },
    ...{ behind: liftedSet(equipment, profile.reform, true), stretch: 20, high_V: 30 },
  }
}

/** As unattended work wants it: a dead-man in the supply of HT, every output qualified. */
function fit(bench: Bench): Bench {
  const { high } = bench.supplies
  if (high === undefined) throw new Error('no supply of that name')
  const supplies = { ...bench.supplies, high: { ...high, dialect: { ...high.dialect, dead_man } } }
  const outputs = Object.entries(supplies).flatMap(([supply, { channels }]) =>
    Object.keys(channels).map((channel) => `${supply}.${channel}`),
  )
  return qualifiedBench({ ...bench, supplies }, qualification(outputs, '2026-06-01'), '2026-09-01')
}

/** The question that feeds it. */
export const relay_feed = ':REL:FEED?'

/** The same with a cut-off relay that takes the HT 3 s after nobody has fed it. */
function withRelay(bench: Bench): Bench {
  const written: Parameters<typeof cutOffMeter>[0] = {
    line: { kind: 'virtual', as: 'pty', baud: 115200, spare_allowed: true },
    ...{ feed: relay_feed, closed_is: 1, after: 3, cuts: ['high'] },
  }
  return {
    ...bench,
    meters: { ...bench.meters, [cutOffName]: cutOffMeter(written) },
    cut_off: toCutOff(written),
  }
}
