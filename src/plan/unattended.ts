import { type Bench, channelOf } from '../bench/index.js'
import { show } from '../limits/index.js'
import type { Profile } from '../profile/index.js'
import type { Course } from './course.js'
import { hookupLimits } from './hookup-tests.js'
import { isHotRole } from './off.js'
import type { HookupTest, Layer, RailLimits, RailPlan, Step, UnattendedPlan } from './types.js'

/*
 * Unattended work: what must be so before anyone may leave, what is proved of it in that very start, and what the person must
 * see to. A layer below this program switches off when computer or line are gone: a dead-man in the supply, or, where a supply
 * has none, an outside timer.
 */

type Refused = UnattendedPlan['refused'][number]

/** A step as it is handed to whoever numbers and fills it. */
export interface LayerStep {
  readonly stage: string
  readonly step: Partial<Step> & Pick<Step, 'do' | 'limits' | 'expected_s'>
}

/** Put behind the hook-up check: each dead-man is let fire with a few volts on its output. */
export function proveLayers(course: Course): void {
  const tests = Object.values(course.tests).flat()
  for (const { stage, step } of layerSteps(course.of.bench, tests, course.of.rails, course.timeout_s(null)))
    course.push(stage, step)
}

/** The steps that let what switches off without this program do so, and have it cleared. */
export function layerSteps(
  bench: Bench,
  tests: readonly HookupTest[],
  rails: Readonly<Record<string, RailPlan>>,
  timeout_s: number,
): LayerStep[] {
  return Object.entries(bench.supplies).flatMap(([port, { channels, dialect }]) => {
    const { dead_man } = dialect
    const low = Object.keys(channels).flatMap((name) => lowTest(tests, `${port}.${name}`, rails))
    // One timer for all is proved once; else each by itself.
    const timed = dead_man === null ? [] : dead_man.per === 'supply' ? low.slice(0, 1) : low
    const relay = bench.cut_off
    const cut = relay?.cuts.includes(port) === true ? low.slice(0, 1) : []
    return [
      ...timed.flatMap((each) =>
        proofSteps({ of: 'dead-man', ...each, after_s: dead_man?.after_s ?? 0, timeout_s }),
      ),
      ...cut.flatMap((each) =>
        proofSteps({ of: 'cut-off relay', ...each, after_s: relay?.after_s ?? 0, timeout_s }),
      ),
    ]
  })
}

/** The hook-up test of a channel that feeds plates or screens, where it is one at a few volts. */
function lowTest(
  tests: readonly HookupTest[],
  channel: string,
  rails: Readonly<Record<string, RailPlan>>,
): { readonly test: HookupTest; readonly rail: RailPlan }[] {
  const test = tests.find((each) => each.channel === channel && each.method === 'low volts')
  const rail = test === undefined ? undefined : rails[test.rail]
  return test !== undefined && rail !== undefined && isHotRole(rail.role) ? [{ test, rail }] : []
}

/** The rail's own charge may hold the terminals up: so many of its time constants are waited for. */
const constants = 4

/** A capacitor at the terminals is charged at the supply's own limit, and read-back may show that as a little more. */
function chargingAtLimit(limits: RailLimits, { channels }: RailPlan): RailLimits {
  const { supply_limit_A: most_A } = limits
  const error_A = Math.max(
    ...channels.map(
      ({ accuracy_A, resolution_A }) => accuracy_A.of_reading * most_A + accuracy_A.plus + 3 * resolution_A,
    ),
  )
  return { ...limits, trip_A: most_A + error_A, ceiling_A: most_A + error_A, charge_A: most_A }
}

interface ToProve {
  readonly of: 'dead-man' | 'cut-off relay'
  readonly test: HookupTest
  readonly rail: RailPlan
  readonly after_s: number
  readonly timeout_s: number
}

function proofSteps({ of, test, rail, after_s, timeout_s }: ToProve): LayerStep[] {
  const limits = { [rail.name]: chargingAtLimit(hookupLimits(test, rail), rail) }
  const stage = `${of} of ${test.channel}`
  const { ohm, F } = rail.discharge ?? { ohm: 0, F: 0 }
  const within_s = 1.5 * after_s + 1 + constants * ohm * F
  const at = { rail: rail.name, target_V: test.test_V, limits } as const
  const proof: Step['proof'] = {
    of,
    channel: test.channel,
    limit_A: null,
    level: null,
    within_s,
    because: 'nobody is there when computer or line are gone: it is what switches off then.',
  }
  return [
    // At once, as the hook-up check sets it: what that left in a reservoir may stand above a slow beginning.
    { stage, step: { do: 'raise', ...at, slew_V_per_s: 20 * test.test_V, hold_s: 2, expected_s: 8 } },
    { stage, step: { do: 'prove', ...at, proof, expected_s: within_s + 5 } },
    {
      stage: `${stage}: clear it`,
      step: {
        do: 'ask',
        limits: {},
        ask: {
          text: `${of === 'dead-man' ? `The dead-man of ${test.channel} switched its output off` : `The cut-off relay opened and ${test.channel} lost its volts`}, as it was meant to. Where the supply shows that, clear it at its front panel; leave the output off. Done?`,
          wants: { kind: 'confirm' },
          timeout_s,
          inside: false,
          about: `clear ${test.channel}`,
        },
        expected_s: 20,
      },
    },
  ]
}

/** What would let this run go on with nobody there, and what stands in the way. */
export function unattendedPlan(
  profile: Profile,
  bench: Bench,
  rails: Readonly<Record<string, RailPlan>>,
  steps: readonly Step[],
): UnattendedPlan {
  const used = Object.values(rails).filter(({ name }) => steps.some(({ rail }) => rail === name))
  const hot = used.filter(({ role }) => isHotRole(role))
  const ports = [...new Set(hot.flatMap(({ channels }) => channels.map(({ port }) => port)))]
  const layers = ports.flatMap((port) => layersOf(bench, port, steps))
  return {
    layers,
    refused: [
      ...ofProfile(profile),
      ...used.flatMap(byHand),
      ...used.flatMap(({ channels }) => channels.flatMap(({ channel }) => unproved(bench, channel))),
      ...ports.flatMap((port) => noSpare(bench, port)),
    ],
  }
}

function layersOf(bench: Bench, port: string, steps: readonly Step[]): Layer[] {
  const dead_man = bench.supplies[port]?.dialect.dead_man ?? null
  const proved = (of: 'dead-man' | 'cut-off relay'): boolean =>
    steps.some(
      ({ proof }) => proof?.of === of && channelOf(bench, proof.channel)?.supply === bench.supplies[port],
    )
  const layers: Layer[] = []
  if (dead_man !== null && proved('dead-man'))
    layers.push({
      port,
      by: 'dead-man',
      text: `${port} switches off by itself ${show(dead_man.after_s, 's')} after this computer has fallen silent; it is made to do so in this start, before anything goes above ${touchless_V} V`,
    })
  if (bench.cut_off !== undefined && proved('cut-off relay'))
    layers.push({
      port,
      by: 'cut-off relay',
      text: `the cut-off relay takes the HT of ${port} ${show(bench.cut_off.after_s, 's')} after the loop that judges readings has stopped feeding it, and where ${port} does not obey OFF; it is made to do so in this start, before anything goes above ${touchless_V} V`,
    })
  if (layers.length > 0) return layers
  return [
    {
      port,
      by: 'outside timer',
      text: `${port} has no dead-man and no cut-off relay that can be proved in this start: an outside timer in the mains of ${port} must switch it off`,
    },
  ]
}
/** Highest volts of a hook-up test. */
const touchless_V = 5

function ofProfile({ unattended, name }: Profile): Refused[] {
  if (unattended) return []
  return [
    {
      what: `the profile ${name} does not say that it may be left alone`,
      remedy: 'where all of its stages may go on with nobody there, write unattended: true into it',
    },
  ]
}

function byHand(rail: RailPlan): Refused[] {
  if (rail.class === 'programmed') return []
  return [
    {
      what: `${rail.name} is switched by a person alone: with nobody there nothing can take it off`,
      remedy: 'feed it from a supply that slowglow switches, or stay',
    },
  ]
}

/** Measured, not too long ago, on the supply that is there; and its current limit seen to hold. */
function unproved(bench: Bench, channel: string): Refused[] {
  const found = bench.measured?.[channel]
  const how = `measure it on a dummy load: slowglow qualify --channel ${channel}`
  switch (found?.state ?? 'none') {
    case 'none':
      return [{ what: `${channel} is not qualified`, remedy: how }]
    case 'old':
      return [
        {
          what: `the qualification of ${channel} is more than 12 months old (${found?.date ?? ''})`,
          remedy: how,
        },
      ]
    case 'foreign':
      return [{ what: `the qualification of ${channel} is of another supply`, remedy: how }]
    case 'measured': {
      const limit = found?.proofs.find(({ of }) => of === 'current limit')?.verdict ?? 'not proved'
      if (limit === 'as it should') return []
      return [
        {
          what: `the current limit of ${channel} is not known to work (its proof: ${limit}), and it is what holds a fault while nobody looks`,
          remedy: `${how}, without --skip 'current limit'; a supply whose limit does not hold may not feed a set`,
        },
      ]
    }
  }
}

function noSpare(bench: Bench, port: string): Refused[] {
  const line = bench.supplies[port]?.line
  if (line === undefined || line.spare_allowed) return []
  return [
    {
      what: `${port} takes one connection only, so none can be held in reserve: a lost controller is taken over too late`,
      remedy:
        'join it by a serial line, or, where it does take a second connection, write spare_allowed: true',
    },
  ]
}
