import { chance } from '../chance/index.js'
import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName, NodeName, RailName } from '../equipment/index.js'
import { benchRails, clippedOn, heaterPoint, sampleElements } from '../limits/index.js'
import type { Element, Solution } from '../network/index.js'
import { type Plan, type Step, stepNumbered } from '../plan/index.js'
import { type Bed, createBed, faulted, railAmps } from './bed.js'
import { scaled, slope } from './likelihood.js'
import { pointOf } from './points.js'
import type { Seen } from './seen.js'
import type { Fault, Point } from './types.js'

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
}

/** One solved state of a set: volts and currents at each point. */
export interface State {
  readonly amps: Readonly<Record<RailName, number>>
  readonly volts: Solution['volts']
}

export interface Model {
  readonly equipment: Equipment
  readonly signals: readonly Signal[]
  readonly points: readonly {
    readonly step: Step
    readonly point: Point
    readonly bed: Bed
    readonly reached: boolean
  }[]
  /** The set as its file has it. */
  readonly nominal: readonly State[]
  /** Healthy sets drawn, their own elements with them. */
  readonly drawn: readonly { readonly states: readonly State[]; readonly own: ReadonlyMap<string, Element> }[]
  solveFault(fault: Fault): State[] | null
  value(signal: Signal, states: readonly State[], fault: Fault | null): number
}

/** Healthy sets drawn: enough for the covariance of a dozen signals. */
const draws = 40
/** Points of a run that are reckoned with: neighbours in volts say nearly the same. */
const mostPoints = 3

/** What a run measured, as signals, and how any state of the set shows in them. */
export function createModel(equipment: Equipment, bench: Bench, plan: Plan, seen: Seen, seed = 31): Model {
  const rails = benchRails(equipment, bench)
  const meters = clippedOn(equipment, bench)
  const beds = new Map<ModeName, Bed>()
  const bedOf = (mode: ModeName): Bed => {
    const bed = beds.get(mode) ?? createBed(equipment, mode, rails, meters)
    beds.set(mode, bed)
    return bed
  }
  const points = chosen(equipment, plan, seen).map(({ step, point, reached }) => ({
    step,
    point,
    reached,
    bed: bedOf(step.mode),
  }))
  const signals: Signal[] = []
  for (const [at, { step, point, reached }] of points.entries()) {
    const read = seen.steps.find((each) => each.step === step.index)
    if (read === undefined) continue
    for (const [rail, { volts, amps }] of Object.entries(read.rails)) {
      const own = rails[rail]
      if (own === undefined || own.role === 'heater' || !((point.volts[rail] ?? 0) > 0)) continue
      const scale = Math.max(3 * own.resolution_A, 2e-4)
      const error_A = own.accuracy_A.of_reading * amps + own.accuracy_A.plus + own.resolution_A / 2
      const error_V = own.accuracy_V.of_reading * volts + own.accuracy_V.plus + own.resolution_V / 2
      // On its way up a rail is read at one moment in volts and at another in amps, and charges capacitors meanwhile.
      const moving = reached ? 0 : 0.03
      const relative = Math.min(3, error_V / Math.max(volts, 1e-3)) + moving
      const error = error_A / Math.sqrt(amps * amps + scale * scale)
      signals.push({
        ...{ what: `${rail} in step ${step.index}`, unit: 'A', measured: amps, scale, at, of: { rail } },
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
        ...{
          what: `${name} in step ${step.index}`,
          unit: 'V',
          measured: volts,
          scale,
          at,
          of: { node, against },
        },
        error: 0.4 * error * error,
      })
    }
  }
  signals.push(...heaterSignals(plan, seen, equipment))
  const stateAt = (
    at: number,
    changed: readonly Element[],
    lit: ReadonlySet<string>,
    start?: Solution['volts'],
  ) => {
    const here = points[at]
    if (here === undefined) return null
    const { solution, lit: after } = here.bed.solve(here.point, changed, lit, start)
    return {
      state: { amps: railAmps(rails, here.point, solution), volts: solution.volts },
      after,
      sound: solution.converged,
    }
  }
  const run = (changedIn: (bed: Bed) => readonly Element[], near?: readonly State[]): State[] | null => {
    const states: State[] = []
    let lit: ReadonlySet<string> = new Set()
    for (const [at, { bed, point }] of points.entries()) {
      if (points[at - 1]?.point.mode !== point.mode) lit = new Set()
      const made = stateAt(at, changedIn(bed), lit, near?.[at]?.volts)
      if (made === null || !made.sound) return null
      states.push(made.state)
      lit = made.after
    }
    return states
  }
  const nominal = run(() => []) ?? []
  const drawn = Array.from({ length: draws }, (_, n) => {
    // One set in all its modes: each part draws by its own name.
    const source = chance(seed).fork(`set ${n}`)
    const byBed = new Map<Bed, Element[]>()
    const ownOf = (bed: Bed): Element[] => {
      const own = byBed.get(bed) ?? sampleElements(equipment, bed.network.elements, source)
      byBed.set(bed, own)
      return own
    }
    const states = run(ownOf, nominal)
    const last = points.at(-1)
    const own = new Map(last === undefined ? [] : ownOf(last.bed).map((element) => [element.name, element]))
    return states === null ? null : { states, own }
  }).filter((each) => each !== null)
  const heaterLead = (rail: RailName): number => rails[rail]?.lead_ohm ?? 0
  return {
    ...{ equipment, signals, points, nominal, drawn },
    solveFault: (fault) => run((bed) => faulted(bed, fault), nominal),
    value(signal, states, fault) {
      if ('node' in signal.of) {
        const volts = states[signal.at ?? 0]?.volts ?? {}
        return (volts[signal.of.node] ?? 0) - (volts[signal.of.against] ?? 0)
      }
      if (signal.at !== null) return states[signal.at]?.amps[signal.of.rail] ?? 0
      const { rail } = signal.of
      const open = fault?.heater ?? null
      const V = heaterVolts(plan, seen, rail)
      return heaterPoint(equipment, rail, V, heaterLead(rail), (part) => (part === open ? 'open' : 1)).amps
    },
  }
}

function isTerminal(equipment: Equipment, node: NodeName): boolean {
  return Object.values(equipment.rails).some(
    ({ positive, negative, role }) => role !== 'heater' && (positive === node || negative === node),
  )
}

/** The value of a signal on its scale, with how much of the spread of healthy sets it carries. */
export function shown(value: number, { scale }: Signal): { readonly y: number; readonly part: number } {
  return { y: scaled(value, scale), part: slope(value, scale) }
}

/** Steps to reckon with: the last, which may be the one that tripped, and some before it at other volts. */
function chosen(
  equipment: Equipment,
  plan: Plan,
  seen: Seen,
): { step: Step; point: Point; reached: boolean }[] {
  const all = seen.steps.flatMap(({ step: number, rails }) => {
    const step = stepNumbered(plan, number)
    if (step === null || (step.do !== 'raise' && step.do !== 'hold')) return []
    const planned = pointOf(equipment, step)
    const volts: Record<RailName, number> = {}
    for (const rail of Object.keys(planned.volts)) {
      const read = rails[rail]
      if (read !== undefined && read.volts > 0) volts[rail] = read.volts
    }
    if (Object.keys(volts).length === 0) return []
    const own = volts[step.rail ?? '']
    const reached = step.rail === null || own === undefined || own > 0.95 * step.target_V - 0.5
    return [{ step, point: { mode: step.mode, volts, hot: planned.hot }, reached }]
  })
  const sum = ({ point }: (typeof all)[number]): number =>
    Object.values(point.volts).reduce((total, V) => total + V, 0)
  const last = all.at(-1)
  if (last === undefined) return []
  // Of those before, the highest, and the one nearest to half way.
  const before = all
    .slice(0, -1)
    .filter(({ point }) => Object.keys(point.volts).length === Object.keys(last.point.volts).length)
  const picked = new Set([last])
  const highest = [...before].sort((a, b) => sum(b) - sum(a))[0]
  if (highest !== undefined) picked.add(highest)
  const half = [...before].sort(
    (a, b) => Math.abs(sum(a) - 0.5 * sum(last)) - Math.abs(sum(b) - 0.5 * sum(last)),
  )[0]
  if (half !== undefined && picked.size < mostPoints) picked.add(half)
  return all.filter((each) => picked.has(each))
}

/** The step at which a heater rail stood highest, as read. */
function heaterStep(plan: Plan, seen: Seen, rail: RailName) {
  return seen.steps
    .flatMap(({ step, rails }) => {
      const read = rails[rail]
      const limits = stepNumbered(plan, step)?.limits[rail]
      return read === undefined || limits === undefined ? [] : [{ step, read, limits }]
    })
    .filter(({ read, limits }) => read.volts > 0.97 * limits.at_V)
    .at(-1)
}

function heaterVolts(plan: Plan, seen: Seen, rail: RailName): number {
  return heaterStep(plan, seen, rail)?.read.volts ?? 0
}

function heaterSignals(plan: Plan, seen: Seen, equipment: Equipment): Signal[] {
  return Object.entries(equipment.rails).flatMap(([rail, { role }]): Signal[] => {
    const at = role === 'heater' ? heaterStep(plan, seen, rail) : undefined
    if (at === undefined) return []
    const { read, limits, step } = at
    const spread = (limits.upper_A - limits.lower_A) / 2 / 1.645 / Math.max(limits.expected_A, 1e-6)
    return [
      {
        ...{
          what: `${rail} in step ${step}`,
          unit: 'A',
          measured: read.amps,
          scale: 0.01,
          at: null,
          of: { rail },
        },
        error: 1e-5,
        band: spread * spread,
      },
    ]
  })
}
