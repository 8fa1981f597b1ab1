import type { Bench, InputLimit, Measures, Meter } from '../bench/index.js'
import type { Equipment, RailName } from '../equipment/index.js'
import { type LimitsDesk, parallel_ohm, show, terminalBleeder_ohm } from '../limits/index.js'
import { setCapacitance_F, setPath_ohm } from './discharge.js'
import { staleOf_s } from './stale.js'
import { isHot } from './stages.js'
import type { HookupTest, MeterPlan, Plan, RailPlan, Rule, WatchPlan } from './types.js'

/** What every meter of the bench is for in this run, and what is judged by it. */
export function meterPlans(
  equipment: Equipment,
  bench: Bench,
  desk: LimitsDesk,
  rails: Readonly<Record<RailName, RailPlan>>,
  tests: readonly HookupTest[],
): Record<string, MeterPlan> {
  const plans: Record<string, MeterPlan> = {}
  for (const [name, meter] of Object.entries(bench.meters)) {
    const isRead = portOf(name, meter) !== null
    plans[name] = planOf(
      name,
      meter,
      isRead ? watchOf(name, meter, { equipment, bench, desk, rails, tests }) : null,
    )
  }
  return plans
}

/** Meters of a bench on which no set is: thermometers and contacts, judged by their own limits and used for nothing else. */
export function guardPlans(bench: Bench): Record<string, MeterPlan> {
  return Object.fromEntries(
    Object.entries(bench.meters).map(([name, meter]) => [
      name,
      planOf(
        name,
        meter,
        portOf(name, meter) === null
          ? null
          : watchBy(bench, name, meter, { uses: [], needed: meter.required, falls: null }),
      ),
    ]),
  )
}

/** The cut-off relay of a bench, as far as what takes part goes through it. */
export function cutOffPlan({ cut_off, supplies }: Bench): Pick<Plan, 'cut_off'> {
  if (cut_off === undefined) return {}
  const channels = cut_off.cuts.flatMap((port) =>
    Object.keys(supplies[port]?.channels ?? {}).map((name) => `${port}.${name}`),
  )
  return channels.length === 0 ? {} : { cut_off: { meter: cut_off.meter, channels } }
}

function planOf(name: string, meter: Meter, watch: WatchPlan | null): MeterPlan {
  const { measures, at, against, rail, ohm, resolution, accuracy } = meter
  const port = portOf(name, meter)
  return {
    ...{ name, port, measures, at, against, rail, ohm, resolution, accuracy },
    ...(watch !== null && { watch }),
  }
}

const portOf = (name: string, { line, on }: Meter): string | null => (line === null ? on : name)

interface Known {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly desk: LimitsDesk
  readonly rails: Readonly<Record<RailName, RailPlan>>
  readonly tests: readonly HookupTest[]
}

function watchOf(name: string, meter: Meter, known: Known): WatchPlan {
  const { equipment, bench, desk, rails, tests } = known
  const roles = Object.values(rails).flatMap((rail) => [
    ...(rail.class === 'watched' && (rail.volts_meter === name || rail.amps_meter === name)
      ? [`watches ${rail.name}, which is on your own knob`]
      : []),
    ...(rail.bias?.meter === name ? [`bias at ${rail.bias.node} before and while HT is on`] : []),
  ])
  const proves = tests.flatMap(({ rail, polarity }) =>
    polarity?.meter === name ? [`polarity of ${rail} at ${polarity.node} in the hook-up check`] : [],
  )
  const charged = meter.measures === 'V' && meter.at !== null && !isBiasNode(rails, meter.at)
  const node = charged ? [`the charge left at ${meter.at} after OFF`] : []
  return watchBy(bench, name, meter, {
    uses: [...roles, ...proves, ...node],
    needed: meter.required || roles.length > 0,
    falls: charged ? fallsBy(equipment, desk, meter) : null,
  })
}

/** What it is for here, then its limits. */
function watchBy(
  bench: Bench,
  name: string,
  { limits, measures, every_s }: Meter,
  here: Pick<WatchPlan, 'uses' | 'needed' | 'falls'>,
): WatchPlan {
  const uses = [...here.uses, ...limits.map((limit) => limitWords(limit, measures))]
  return {
    ...here,
    uses: uses.length > 0 ? uses : ['shown and recorded, judged by nothing'],
    // By its own line, not the slowest of the bench; and never sooner than it is asked.
    stale_s: Math.max(3 * every_s, staleOf_s(bench, [name])),
    limits,
  }
}

function isBiasNode(rails: Readonly<Record<RailName, RailPlan>>, node: string): boolean {
  return Object.values(rails).some(
    ({ role, bias, positive, negative }) =>
      bias?.node === node || (role === 'bias' && (positive === node || negative === node)),
  )
}

/** The path by which a plate supply node falls with its supply off and tubes cold; null elsewhere, or where the files do not say. */
function fallsBy(equipment: Equipment, desk: LimitsDesk, { at }: Meter): WatchPlan['falls'] {
  const found = Object.entries(equipment.rails).find(
    ([name, rail]) => rail.positive === at && isHot(equipment, name),
  )
  const side = found === undefined ? undefined : desk.rails[found[0]]
  if (found === undefined || side === undefined) return null
  const [name, rail] = found
  // A diode parts the set from the bench's bleeder and capacitor; a whole fuse does not.
  const joined = rail.feeds.blocking_diode !== true
  const ohm = parallel_ohm([
    setPath_ohm(equipment, desk, name),
    joined ? terminalBleeder_ohm(rail, side) : null,
  ])
  const F = setCapacitance_F(equipment, desk, name) + (joined ? side.output_F : 0)
  return ohm === null || F <= 0 ? null : { ohm, F }
}

/** A limit as a person would say it, with its reason. */
export function limitWords(limit: InputLimit, measures: Measures): string {
  const { act, when, at, because } = limit
  const value = at === null || measures === 'contact' ? '' : ` ${show(at, measures)}`
  return `${act === 'trip' ? 'trips' : 'warns'} ${at === null ? `when ${when}` : when}${value}: ${because}`
}

/** Limits of watched inputs as rules, each with its figure and its reason. */
export function inputRules(meters: Readonly<Record<string, MeterPlan>>): Rule[] {
  return Object.values(meters).flatMap(({ name, measures, watch }) =>
    (watch?.limits ?? []).map((limit): Rule => {
      const value = limit.at ?? 1
      const unit = measures === 'contact' ? 'state' : measures
      return {
        code: 'watched-input',
        text: `${name} ${limitWords(limit, measures)}.`,
        warn: limit.act === 'warn' ? value : null,
        trip: limit.act === 'trip' ? value : null,
        for_s: 0,
        unit,
        source: limit.because,
      }
    }),
  )
}
