import { type Bench, channelOf } from '../bench/index.js'
import { show } from '../limits/index.js'
import type { Profile } from '../profile/index.js'
import type { Course } from './course.js'
import { biasBeside, notTaken, seenTaken } from './dead-man.js'
import { hookupLimits } from './hookup-tests.js'
import { isHotRole } from './off.js'
import type { HookupTest, Layer, Plan, Proof, RailLimits, RailPlan, Step, UnattendedPlan } from './types.js'

/*
 * Unattended work: what must be so before anyone may leave, what is proved of it in that very start, and what the person must
 * see to. A layer below this program switches off when computer or line are gone: a dead-man in the supply, a cut-off relay or an
 * outside timer beside it. None is counted on unless it is made to do so in that very start.
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
    const remote = dialect.remote !== null
    const low = Object.keys(channels).flatMap((name) => lowTest(tests, `${port}.${name}`, rails))
    // One timer for all is proved once; else each by itself.
    const timed = dead_man === null ? [] : dead_man.per === 'supply' ? low.slice(0, 1) : low
    const relay = bench.cut_off
    const cut = relay?.cuts.includes(port) === true ? low.slice(0, 1) : []
    const timer = bench.outside_timer
    const clocked = timer?.cuts.includes(port) === true ? low.slice(0, 1) : []
    return [
      ...timed.flatMap((each) =>
        proofSteps({
          ...{ of: 'dead-man', ...each, after_s: dead_man?.after_s ?? 0, timeout_s, remote },
          says: typeof dead_man?.ask_expired === 'string',
        }),
      ),
      ...cut.flatMap((each) =>
        proofSteps({ of: 'cut-off relay', ...each, after_s: relay?.after_s ?? 0, timeout_s, remote }),
      ),
      ...clocked.flatMap((each) =>
        timerSteps(port, timer?.shortest_s ?? 0, {
          ...{ of: 'outside timer', ...each, timeout_s, remote },
          after_s: timer?.shortest_s ?? 0,
        }),
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
  readonly of: Layer['by']
  readonly test: HookupTest
  readonly rail: RailPlan
  readonly after_s: number
  readonly timeout_s: number
  /** It takes settings only once it was told to be remote. */
  readonly remote: boolean
  /** The supply can be asked whether it fired. */
  readonly says?: boolean
}

function proofSteps({ of, test, rail, after_s, timeout_s, remote, says = false }: ToProve): LayerStep[] {
  const limits = { [rail.name]: chargingAtLimit(hookupLimits(test, rail), rail) }
  const stage = `${of} of ${test.channel}`
  const { ohm, F } = rail.discharge ?? { ohm: 0, F: 0 }
  // A timer is set by a person's hand, and was started a moment before.
  const room_s = of === 'outside timer' ? byHand_s : 0.5 * after_s + 1
  const within_s = after_s + room_s + constants * ohm * F
  const at = { rail: rail.name, target_V: test.test_V, limits } as const
  const proof: Step['proof'] = {
    of,
    channel: test.channel,
    limit_A: null,
    level: null,
    within_s,
    because: 'nobody is there when computer or line are gone: it is what switches off then.',
    ...(says && { says: true as const }),
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
          text: `${hasCut(of, test.channel)}, as it was meant to. Where the supply shows that, clear it at its front panel; leave the output off. Done?`,
          wants: { kind: 'confirm' },
          timeout_s,
          inside: false,
          about: `clear ${test.channel}`,
          ...(remote && { takes_panel: test.channel }),
        },
        expected_s: 20,
      },
    },
  ]
}

function hasCut(of: Layer['by'], channel: string): string {
  switch (of) {
    case 'dead-man':
      return `The dead-man of ${channel} switched its output off`
    case 'cut-off relay':
      return `The cut-off relay opened and ${channel} lost its volts`
    case 'outside timer':
      return `The outside timer opened and ${channel} lost its volts`
  }
}

/** A timer is set to the next whole minute or mark of its dial, s (our choice). */
const byHand_s = 90

/**
 * Started by hand at its shortest, seen to cut, started again for the night and the volts seen to come back only then. What it is set
 * to is the person's: no measurement of a start can tell what will be hours later.
 */
function timerSteps(port: string, shortest_s: number, prove: ToProve): LayerStep[] {
  const { test, rail, timeout_s } = prove
  const stage = `outside timer of ${test.channel}`
  const set = (text: string, about: string): LayerStep => ({
    stage,
    step: {
      do: 'ask',
      limits: {},
      ask: { text, wants: { kind: 'confirm' }, timeout_s, inside: false, about },
      expected_s: 60,
    },
  })
  const cut = proofSteps(prove)
  const [raise, proved] = cut
  const back =
    raise === undefined || proved === undefined
      ? []
      : [
          { ...raise, stage: `${stage}: are the volts back` },
          {
            stage: `${stage}: off again`,
            step: {
              ...proved.step,
              proof: {
                of: 'off',
                channel: test.channel,
                limit_A: null,
                level: null,
                within_s: 10 + constants * (rail.discharge?.ohm ?? 0) * (rail.discharge?.F ?? 0),
                because: 'what comes next begins with its output off.',
              } satisfies Proof,
              expected_s: 10,
            },
          },
        ]
  return [
    set(
      `The outside timer of ${port} is proved now, at ${test.test_V} V: set it to its shortest time, ${show(shortest_s, 's')}, start it, and say yes at once. Then touch neither timer nor supply until you are asked again. Started?`,
      `fit timer ${port} ${shortest_s}`,
    ),
    ...cut,
    set(`The outside timer of ${port} cut. ${forTheNight}`, `fit timer ${port}`),
    ...back,
  ]
}
const forTheNight =
  'Set it for the whole run and start it: what it takes its HT off by, if nothing else does.'

/** The hours of the night stand in its question once they are known. */
export function timedSteps(
  steps: readonly Step[],
  { time_budget_s, expected_s }: Pick<Plan, 'time_budget_s' | 'expected_s'>,
): readonly Step[] {
  return steps.map((step) =>
    step.ask?.text.endsWith(forTheNight) === true
      ? {
          ...step,
          ask: {
            ...step.ask,
            text: `${step.ask.text} It is to cut ${show(time_budget_s, 's')} from now at the latest, and not before ${show(60 * Math.ceil(expected_s / 60), 's')}: so long is planned. Started?`,
          },
        }
      : step,
  )
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
      ...ports.flatMap((port) => (layersOf(bench, port, steps).length === 0 ? [noLayer(port)] : [])),
      ...ports.flatMap((port) => noSpare(bench, port)),
      ...ports.flatMap((port) => notApart(bench, port)),
      ...ports.flatMap((port) => notAll(bench, port, hot, steps)),
    ],
  }
}

function layersOf(bench: Bench, port: string, steps: readonly Step[]): Layer[] {
  const dead_man = bench.supplies[port]?.dialect.dead_man ?? null
  const proved = (of: Layer['by']): boolean =>
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
  if (proved('outside timer'))
    layers.push({
      port,
      by: 'outside timer',
      text: `the outside timer of ${port} takes its HT once its time is over, whatever computer, line and program do; it is made to cut in this start, before anything goes above ${touchless_V} V, and the volts must come back only once you have started it again. To what time it is set for the night nothing here sees`,
    })
  return layers
}

/** A timer that is said to be there and was not seen to cut is none. */
const noLayer = (port: string): Refused => ({
  what: `nothing that can be proved in this start switches ${port} off when computer and line are gone`,
  remedy:
    'give the bench file the dead-man of that supply (dead_man in its dialect), a cut-off relay (cut_off), or an outside timer that opens its interlock or the mains of its HT stage while it goes on answering (outside_timer); one in the mains of the whole supply takes its answers with it, so that its cut cannot be measured, and does not count',
})

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
    case 'failed':
      return [{ what: `${channel} failed when it was measured: ${found?.failed ?? ''}`, remedy: how }]
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

/** Bias must outlast HT, and the proof in this start lets one output fire with the others off: it does not show that. */
function notApart(bench: Bench, port: string): Refused[] {
  const found = biasBeside(bench, port)
  if (found === null || found.is === 'left on') return []
  const { bias, by } = found
  const measure = `measure it on a dummy load: slowglow qualify --channel ${by}`
  const other = 'feed the bias from another supply, or stay'
  switch (found.is) {
    case 'taken':
      return [
        {
          what: `${port} feeds bias beside what is hot, and the dead-man of ${by} was seen to take the bias (${bias}) with HT up`,
          remedy: other,
        },
      ]
    case 'not clear':
    case 'not seen':
      return [
        {
          what: `${port} feeds bias beside what is hot, and ${found.is === 'not clear' ? 'its qualification does not show clearly' : 'nothing has shown'} that its dead-man takes one output alone: that of ${by} may take the bias (${bias}) with HT up`,
          remedy: `${measure}; or ${other}`,
        },
      ]
  }
}

/** One timer for all is proved on one output in this start: each other one must have been seen to go, unless a relay takes them. */
function notAll(bench: Bench, port: string, hot: readonly RailPlan[], steps: readonly Step[]): Refused[] {
  if (bench.supplies[port]?.dialect.dead_man?.per !== 'supply') return []
  if (bench.cut_off?.cuts.includes(port) === true) return []
  const proved = steps.flatMap(({ proof }) => (proof?.of === 'dead-man' ? [proof.channel] : []))
  const mine = hot.flatMap(({ channels }) => channels.filter((part) => part.port === port))
  const by = mine.find(({ channel }) => proved.includes(channel))?.channel
  if (by === undefined) return []
  return mine.flatMap(({ channel }): Refused[] => {
    if (proved.includes(channel)) return []
    const against = notTaken(bench, channel)
    if (against === null && seenTaken(bench, channel)) return []
    return [
      {
        what:
          against === null
            ? `nothing has shown that the dead-man of ${port} takes ${channel} too: it is proved on ${by} in this start`
            : `the dead-man of ${port} does not take ${channel} for certain: ${against}`,
        remedy:
          against === null
            ? `measure it on a dummy load: slowglow qualify --channel ${by}`
            : 'feed it from another supply, put a cut-off relay behind it, or stay',
      },
    ]
  })
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
