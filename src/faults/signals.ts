import type { Equipment, NodeName, RailName } from '../equipment/index.js'
import { heaterPoint } from '../limits/index.js'
import { type Plan, type Step, stepNumbered } from '../plan/index.js'
import { heatersWith } from './heaters.js'
import type { Lab, Spot, Who } from './lab.js'
import { scaled, slope } from './likelihood.js'
import { pointOf } from './points.js'
import type { Seen } from './seen.js'
import type { Point } from './types.js'

/** One thing that was measured: what, and what may be wrong about it by the instrument alone. */
export interface Signal {
  readonly what: string
  readonly unit: 'V' | 'A' | 'Ω'
  readonly measured: number
  /** Of its `scaled` value, below which values count as nothing. */
  readonly scale: number
  /** Variance of its `scaled` value by the instruments. */
  readonly error: number
  /** Place among the points; null for a heater rail, which has none. */
  readonly at: number | null
  readonly of: { readonly rail: RailName } | { readonly node: NodeName; readonly against: NodeName }
  /** Heater rails: their variance over healthy sets, by the band of the step. */
  readonly band?: number
  /**
   * The rail's volts had fallen below what its meter resolves: reckoned at the most that they may have been, and the current
   * that was let through is the least that a cause must account for.
   */
  readonly least?: true
}

/** A point of the run that is reckoned with. */
export interface ModelPoint {
  readonly step: Step
  readonly spot: Spot
  /** The rail came to the volts of its step. */
  readonly reached: boolean
  /** Below 5 V, before anything was warm: the check of the wiring. */
  readonly cold: boolean
}

export interface Model {
  readonly equipment: Equipment
  readonly lab: Lab
  readonly signals: readonly Signal[]
  readonly points: readonly ModelPoint[]
  /** A rule of the plan ended the run: the last point is where it stood then. */
  readonly tripped: boolean
  /** Steps at whose volts the rails came to stand, whether reckoned with or not. */
  readonly stood: readonly { readonly step: Step; readonly point: Point }[]
  /** What a signal reads with a fault, in a drawn set, or in the set as its file has it; null where it could not be solved. */
  value(signal: Signal, who: Who): number | null
}

/** Points under volts that are reckoned with: neighbours say nearly the same. */
const mostPoints = 4
/** Nearer than this to the plan's own volts a rail counts as standing there; what it is off by widens its reading. */
const atPlan = { of: 0.015, plus_V: 0.3 } as const

/** What a run measured, as signals, and how any state of the set shows in them. */
export function createModel(lab: Lab, plan: Plan, seen: Seen): Model {
  const { equipment } = lab
  const all = hotPoints(lab, plan, seen)
  const made = [...coldPoints(lab, plan, seen), ...picked(all)]
  const points = made.map(({ point, ...rest }): ModelPoint => ({ ...rest, spot: lab.at(point) }))
  const signals: Signal[] = []
  for (const [at, { step, reached, cold, off, fallen }] of made.entries()) {
    const read = cold ? coldRead(seen, step.index) : hotRead(seen, step.index)
    if (read === null) continue
    for (const [rail, { volts, amps }] of Object.entries(read.rails)) {
      const own = lab.rails[rail]
      if (own === undefined || own.role === 'heater' || !((made[at]?.point.volts[rail] ?? 0) > 0)) continue
      if (read.by === 'ohmmeter') {
        // 2 % and what the leads leave (common practice, no source): of a dead short the last digit is a third.
        const what = `${rail} by ohmmeter in the hook-up check`
        const ohm = volts / Math.max(amps, 1e-12)
        const off = (0.6 * ohmmeterOff(ohm)) / Math.max(ohm, 1e-3)
        const error = Math.min(1, off * off) + 2e-4
        signals.push({ what, unit: 'A', measured: amps, scale: 1e-6, at, of: { rail }, error })
        continue
      }
      const scale = Math.max(3 * own.resolution_A, 2e-4)
      const error_A = own.accuracy_A.of_reading * amps + own.accuracy_A.plus + own.resolution_A / 2
      const error_V = errorOf(own, volts)
      // On its way up a rail is read at one moment in volts and at another in amps, and charges capacitors meanwhile.
      const moving = reached ? 0 : 0.03
      const relative = Math.min(3, (error_V + (off[rail] ?? 0)) / Math.max(volts, 1e-3)) + moving
      const error = error_A / Math.sqrt(amps * amps + scale * scale)
      if (fallen?.has(rail) === true) {
        signals.push({
          ...{
            what: `${rail} in step ${step.index}, its volts fallen`,
            unit: 'A',
            measured: amps,
            scale,
            at,
          },
          ...{ of: { rail }, error: 0.4 * error * error, least: true },
        })
        continue
      }
      signals.push({
        what: cold ? `${rail} in the hook-up check` : `${rail} in step ${step.index}`,
        ...{ unit: 'A', measured: amps, scale, at, of: { rail } },
        error: 0.4 * error * error + 0.4 * relative * relative,
      })
    }
    for (const [name, volts] of Object.entries(read.meters)) {
      const meter = plan.meters[name]
      const node = meter?.at ?? null
      if (meter === undefined || node === null || meter.measures !== 'V' || isTerminal(equipment, node))
        continue
      const scale = 0.5
      const error =
        (meter.accuracy.of_reading * Math.abs(volts) + meter.accuracy.plus + meter.resolution / 2) /
        Math.sqrt(volts * volts + scale * scale)
      const against = meter.against ?? equipment.chassis_node
      signals.push({
        ...{ what: `${name} in step ${step.index}`, unit: 'V', measured: volts, scale, at },
        of: { node, against },
        error: 0.4 * error * error,
      })
    }
  }
  signals.push(...heaterSignals(plan, seen, equipment))
  const heaterVolts = new Map<RailName, number>()
  for (const { of } of signals)
    if ('rail' in of && equipment.rails[of.rail]?.role === 'heater')
      heaterVolts.set(of.rail, heaterStep(plan, seen, of.rail)?.read.volts ?? 0)
  const heaters = new Map<string, number>()
  return {
    ...{ equipment, lab, signals, points, tripped: seen.tripped !== null },
    stood: all.filter(({ reached, point }) => reached && point.hot),
    value({ of, at }, who) {
      if (at !== null) {
        const state = points[at]?.spot.state(who) ?? null
        if (state === null) return null
        return 'node' in of ? state.volt(of.node) - state.volt(of.against) : (state.amps[of.rail] ?? 0)
      }
      if (!('rail' in of)) return 0
      const { rail } = of
      const fault = who !== null && 'fault' in who ? who.fault : null
      const key = `${rail} ${fault?.heater ?? ''} ${fault?.heater_shorted ?? false}`
      const known = heaters.get(key)
      if (known !== undefined) return known
      const lead_ohm = lab.rails[rail]?.lead_ohm ?? 0
      const { amps } = heaterPoint(equipment, rail, heaterVolts.get(rail) ?? 0, lead_ohm, heatersWith(fault))
      heaters.set(key, amps)
      return amps
    },
  }
}

/** What an ohmmeter may be wrong by: 2 % and its last digits (common practice, no source). */
export const ohmmeterOff = (ohm: number): number => 0.02 * ohm + 0.2

function isTerminal(equipment: Equipment, node: NodeName): boolean {
  return Object.values(equipment.rails).some(
    ({ positive, negative, role }) => role !== 'heater' && (positive === node || negative === node),
  )
}

/** The value of a signal on its scale, with how much of the spread of healthy sets it carries. */
export function shown(value: number, { scale }: Signal): { readonly y: number; readonly part: number } {
  return { y: scaled(value, scale), part: slope(value, scale) }
}

interface Chosen extends Omit<ModelPoint, 'spot'> {
  readonly point: Point
  /** Volts by which a rail is off the point. */
  readonly off: Readonly<Record<RailName, number>>
  /** Rails whose volts had fallen below what can be read; the point has the most that they may have been. */
  readonly fallen?: ReadonlySet<RailName>
}

interface Read {
  readonly by: 'supply' | 'ohmmeter'
  readonly rails: Readonly<Record<RailName, { readonly volts: number; readonly amps: number }>>
  readonly meters: Readonly<Record<string, number>>
}

function hotRead({ steps }: Seen, step: number): Read | null {
  const read = steps.find((each) => each.step === step)
  return read === undefined ? null : { by: 'supply', ...read }
}

function coldRead({ hookups = [] }: Seen, step: number): Read | null {
  const check = hookups.find((each) => each.step === step)
  if (check === undefined) return null
  const { by, rail, volts, amps } = check
  return { by, rails: { [rail]: { volts, amps } }, meters: {} }
}

/** The checks of the wiring below 5 V: each rail alone, tubes cold. */
function coldPoints(lab: Lab, plan: Plan, { hookups = [] }: Seen): Chosen[] {
  return hookups.flatMap(({ step: number, rail, volts }): Chosen[] => {
    const step = stepNumbered(plan, number)
    if (step === null || lab.rails[rail] === undefined || lab.rails[rail].role === 'heater' || !(volts > 0))
      return []
    const at = step.hookup?.test_V ?? 0
    const near = Math.abs(volts - at) <= 0.05 * at
    const point: Point = { mode: step.mode, volts: { [rail]: near ? at : volts }, hot: false }
    return [{ step, point, reached: false, cold: true, off: near ? { [rail]: Math.abs(volts - at) } : {} }]
  })
}

/** By how much a rail's voltmeter may be wrong, V. */
function errorOf(
  { accuracy_V, resolution_V }: Pick<Lab['rails'][string], 'accuracy_V' | 'resolution_V'>,
  volts: number,
): number {
  return accuracy_V.of_reading * Math.abs(volts) + accuracy_V.plus + resolution_V / 2
}

/** Steps of the run in which rails other than heaters stood, in their order. */
function hotPoints(lab: Lab, plan: Plan, seen: Seen): Chosen[] {
  const { equipment } = lab
  return seen.steps.flatMap(({ step: number, rails }): Chosen[] => {
    const step = stepNumbered(plan, number)
    if (step === null || (step.do !== 'raise' && step.do !== 'hold')) return []
    const planned = pointOf(equipment, step)
    const volts: Record<RailName, number> = {}
    const off: Record<RailName, number> = {}
    const fallen = new Set<RailName>()
    for (const [rail, V] of Object.entries(planned.volts)) {
      const read = rails[rail]
      const own = lab.rails[rail]
      if (read === undefined) continue
      const error_V = own === undefined ? 0 : errorOf(own, read.volts)
      if (read.amps > 0 && read.volts < 2 * error_V && V > 4 * error_V) {
        volts[rail] = read.volts + error_V
        fallen.add(rail)
        continue
      }
      if (!(read.volts > 0)) continue
      const by = Math.abs(read.volts - V)
      const near = by <= atPlan.of * V + atPlan.plus_V
      volts[rail] = near ? V : read.volts
      if (near) off[rail] = by
    }
    if (Object.keys(volts).length === 0) return []
    const own = volts[step.rail ?? '']
    const reached = step.rail === null || own === undefined || own > 0.95 * step.target_V - 0.5
    return [{ step, point: { mode: step.mode, volts, hot: planned.hot }, reached, cold: false, off, fallen }]
  })
}

/** Those to reckon with: the last, which may be the one that tripped, the highest of each mode, and some half way. */
function picked(all: readonly Chosen[]): Chosen[] {
  const sum = ({ point }: Chosen): number => Object.values(point.volts).reduce((total, V) => total + V, 0)
  const last = all.at(-1)
  if (last === undefined) return []
  const taken = new Set([last])
  const before = all.slice(0, -1)
  const highest = [...before].sort((a, b) => sum(b) - sum(a))
  const pick = (one: Chosen | undefined): void => {
    if (one !== undefined && taken.size < mostPoints) taken.add(one)
  }
  const inMode = (mode: string): Chosen[] => highest.filter(({ point }) => point.mode === mode)
  pick(inMode(last.point.mode)[0])
  for (const mode of new Set(all.map(({ point }) => point.mode)))
    if (mode !== last.point.mode) pick(inMode(mode)[0])
  const half = (mode: string): Chosen | undefined => {
    const top = inMode(mode)[0] ?? last
    const rails = Object.keys(top.point.volts).length
    return inMode(mode)
      .filter((each) => !taken.has(each) && Object.keys(each.point.volts).length === rails)
      .sort((a, b) => Math.abs(sum(a) - 0.5 * sum(top)) - Math.abs(sum(b) - 0.5 * sum(top)))[0]
  }
  pick(half(last.point.mode))
  pick(half(last.point.mode))
  return all.filter((each) => taken.has(each))
}

/** The step at which a heater rail stood highest, as read. */
function heaterStep(plan: Plan, seen: Seen, rail: RailName) {
  const all = seen.steps.flatMap(({ step, rails }) => {
    const read = rails[rail]
    const limits = stepNumbered(plan, step)?.limits[rail]
    return read === undefined || limits === undefined ? [] : [{ step, read, limits, stopped: false }]
  })
  const full = all.filter(({ read, limits }) => read.volts > 0.97 * limits.at_V).at(-1)
  if (full !== undefined) return full
  // It never came so far: the run was stopped on its way up.
  const last = all.at(-1)
  const isIts = last !== undefined && stepNumbered(plan, last.step)?.rail === rail
  return isIts && last.step === seen.tripped?.step && last.read.volts > 0
    ? { ...last, stopped: true }
    : undefined
}

/** Heaters that are still cold draw several times what they do hot: a current on its way up is known to half of that, on its scale. */
const warming = 0.5

function heaterSignals(plan: Plan, seen: Seen, equipment: Equipment): Signal[] {
  return Object.entries(equipment.rails).flatMap(([rail, { role }]): Signal[] => {
    const at = role === 'heater' ? heaterStep(plan, seen, rail) : undefined
    if (at === undefined) return []
    const { read, limits, step, stopped } = at
    const spread = (limits.upper_A - limits.lower_A) / 2 / 1.645 / Math.max(limits.expected_A, 1e-6)
    return [
      {
        ...{ what: `${rail} in step ${step}`, unit: 'A', measured: read.amps, scale: 0.01, at: null },
        of: { rail },
        error: stopped ? warming * warming : 1e-5,
        band: spread * spread,
      },
    ]
  })
}
