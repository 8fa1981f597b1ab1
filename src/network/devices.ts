import {
  astrayPlate,
  coldRatio,
  diodeWithSlope,
  drivenSlopes,
  heaterCurrent,
  screenTubeWithSlopes,
  triodeWithSlopes,
} from '../tubes/index.js'
import {
  type Circuit,
  electrodes,
  holding,
  limited,
  open,
  smallest_ohm,
  type TwoTerminal,
} from './circuit.js'

/** Silicon power diode: saturation current and emission coefficient of a common 1 A type (from memory): 0.7 V at 10 mA. */
const junction_A = 1e-9
const junction_V = 1.75 * 0.02585
/** Leakage of a gas regulator that is not lit, and of one lit in reverse (our choice, below any meter). */
const dark_S = 1e-10
/** Volts over which a lit regulator begins to draw. Small against its slope times its least current. Our choice. */
const regulatorSoftness_V = 0.05

/** Hot over cold resistance where the element does not say. */
const usual_ratio = coldRatio('indirect').typical

/** A current through two terminals with its slope; reused, so that the hot path allocates nothing. */
export interface Line {
  I: number
  slope_S: number
}

/** Conductance of a resistance: open for Infinity, never better than the smallest resistance. */
export function conductance(ohm: number): number {
  return ohm > smallest_ohm ? 1 / ohm : Number.isNaN(ohm) ? 0 : 1 / smallest_ohm
}

/** Current and slope of a two-terminal element that is curved, at V volts from a to b. */
export function curve(branch: TwoTerminal, V: number, out: Line): void {
  switch (branch.kind) {
    case 'junction': {
      const x = V / junction_V
      const e = Math.exp(Math.min(x, 60))
      const beyond = x > 60 ? x - 60 : 0
      out.I = junction_A * (e * (1 + beyond) - 1)
      out.slope_S = (junction_A / junction_V) * e
      return
    }
    case 'diode tube': {
      const { I, slope_S } = diodeWithSlope(branch.model, V)
      out.I = I * branch.emission
      out.slope_S = slope_S * branch.emission
      return
    }
    case 'regulator': {
      out.I = dark_S * V
      out.slope_S = dark_S
      if (!branch.lit) return
      const { operating_V, slope_ohm, min_A, max_A } = branch.model
      const ohm = Math.max(slope_ohm, 1)
      const x = (V - operating_V + (ohm * (min_A + max_A)) / 2) / regulatorSoftness_V
      const e = Math.exp(-Math.abs(x))
      const soft = Math.max(x, 0) + Math.log1p(e)
      out.I += (regulatorSoftness_V * soft) / ohm
      out.slope_S += (x > 0 ? 1 : e) / (1 + e) / ohm
      return
    }
    case 'heater': {
      const step = 1e-4 * (Math.abs(V) + 0.01 * branch.hot_V)
      out.I = heaterAmps(branch, V)
      out.slope_S = (heaterAmps(branch, V + step) - heaterAmps(branch, V - step)) / (2 * step)
      return
    }
    case 'resistor':
    case 'capacitor':
    case 'inductor':
    case 'supply':
    case 'contact':
    case 'meter':
      out.I = 0
      out.slope_S = 0
  }
}

/** Cold it has its cold resistance, hot the resistance of its hot curve at these volts; `warmth` goes between. */
function heaterAmps(heater: Extract<TwoTerminal, { kind: 'heater' }>, V: number): number {
  const { hot_V, hot_A, warmth } = heater
  if (!(hot_V > 0) || !(hot_A > 0) || V === 0) return 0
  const ratio = heater.cold_ratio ?? usual_ratio
  const hot_ohm = V / heaterCurrent(hot_V, hot_A, V, ratio)
  const cold_ohm = hot_V / hot_A / ratio
  return V / (cold_ohm + warmth * (hot_ohm - cold_ohm))
}

/**
 * Linearises what is curved at the volts `v`; true when something had to be evaluated short of them. `first` is the
 * first pass of a solve, whose volts are trusted; `free` lets the valves' electrodes jump.
 */
export function linearise(
  circuit: Circuit,
  v: Float64Array,
  first: boolean,
  free: boolean,
  line: Line,
): boolean {
  const { a, b, g, j, branch_V, bent } = circuit
  let short = false
  for (const i of bent) {
    const branch = circuit.branches[i]
    if (branch === undefined) continue
    const wanted = (v[a[i] ?? 0] ?? 0) - (v[b[i] ?? 0] ?? 0)
    const V =
      branch.kind === 'junction' ? steadyJunction(wanted, first ? wanted : (branch_V[i] ?? 0)) : wanted
    if (apart(V, wanted)) short = true
    branch_V[i] = V
    curve(branch, V, line)
    g[i] = line.slope_S
    j[i] = line.I - line.slope_S * V
  }
  return placeValves(circuit, v, first || free) || short
}

/** Plate, screen and grid volts the valves are evaluated at. */
function placeValves(circuit: Circuit, v: Float64Array, free: boolean): boolean {
  const { valveNode, valve_V } = circuit
  let short = false
  for (let t = 0; t < circuit.valves.length; t++) {
    const at = t * electrodes
    const cathode_V = v[valveNode[at + 3] ?? 0] ?? 0
    for (let e = 0; e < 3; e++) {
      const wanted = (v[valveNode[at + e] ?? 0] ?? 0) - cathode_V
      const old = valve_V[at + e] ?? 0
      const V = free ? wanted : e === 2 ? steadyGrid(wanted, old) : steadyPlate(wanted, old)
      if (apart(V, wanted)) short = true
      valve_V[at + e] = V
    }
  }
  return short
}

function apart(V: number, wanted: number): boolean {
  return Math.abs(V - wanted) > 1e-6 + 1e-6 * Math.abs(wanted)
}

/** An exponential is only followed a few of its own steps at a time (limiting as in any circuit simulator). */
function steadyJunction(wanted: number, old: number): number {
  const critical = junction_V * Math.log(junction_V / (Math.SQRT2 * junction_A))
  if (wanted <= critical || Math.abs(wanted - old) <= 2 * junction_V) return wanted
  if (old <= 0) return junction_V * Math.log(wanted / junction_V)
  const steps = 1 + (wanted - old) / junction_V
  return steps > 0 ? old + junction_V * Math.log(steps) : critical
}

/** Plates and screens fall by at most a factor five a pass: below their knee lies no slope to come back by. */
function steadyPlate(wanted: number, old: number): number {
  if (old > 0.02 && wanted < old / 5) return old / 5
  return Math.min(wanted, 5 * Math.max(old, 0) + 50)
}

function steadyGrid(wanted: number, old: number): number {
  return Math.min(wanted, Math.max(old, 0) + 30)
}

/** Adds the valves to the equations; currents into plate, screen and grid come back out of the cathode. */
export function stampValves(circuit: Circuit, values: Float64Array, right: Float64Array): void {
  const { valveNode, valvePlace, valve_V } = circuit
  for (let t = 0; t < circuit.valves.length; t++) {
    const valve = circuit.valves[t]
    if (valve === undefined) continue
    const at = t * electrodes
    const plate_V = valve_V[at] ?? 0
    const screen_V = valve_V[at + 1] ?? 0
    const grid_V = valve_V[at + 2] ?? 0
    const k = valve.emission
    const up_V = valve.reference_V ?? 0
    let Ip, Is, Ig, pp, ps, pg, sp, ss, sg, gg
    if (valve.kind === 'triode') {
      const of = triodeWithSlopes(valve.model, plate_V - up_V, grid_V - up_V)
      Ip = k * of.plate_A
      Ig = k * of.grid_A
      pp = k * of.plate_by_plate_S
      pg = k * of.plate_by_grid_S
      gg = k * of.grid_by_grid_S
      Is = ps = sp = ss = sg = 0
      if (valve.astray !== undefined) {
        const off = astrayPlate(valve.astray, of.plate_A, plate_V - up_V)
        Ip = k * off.plate_A
        pp = pp * off.by_curve + k * off.by_plate_S
        pg *= off.by_curve
      }
    } else {
      const of = screenTubeWithSlopes(valve.model, plate_V - up_V, screen_V - up_V, grid_V - up_V)
      Ip = k * of.plate_A
      Is = k * of.screen_A
      Ig = k * of.grid_A
      pp = k * of.plate_by_plate_S
      ps = k * of.plate_by_screen_S
      pg = k * of.plate_by_grid_S
      sp = k * of.screen_by_plate_S
      ss = k * of.screen_by_screen_S
      sg = k * of.screen_by_grid_S
      gg = k * of.grid_by_grid_S
      if (valve.astray !== undefined) {
        const off = astrayPlate(valve.astray, of.plate_A, plate_V - up_V)
        Ip = k * off.plate_A
        pp = pp * off.by_curve + k * off.by_plate_S
        ps *= off.by_curve
        pg *= off.by_curve
      }
    }
    let gp = 0
    let gs = 0
    if (valve.driven !== undefined) {
      const of = drivenSlopes(valve.driven, plate_V, screen_V, grid_V)
      Ip += k * of.at.plate_A
      Is += k * of.at.screen_A
      Ig += k * of.at.grid_A
      pp += k * of.by_plate.plate_A
      ps += k * of.by_screen.plate_A
      pg += k * of.by_grid.plate_A
      sp += k * of.by_plate.screen_A
      ss += k * of.by_screen.screen_A
      sg += k * of.by_grid.screen_A
      gp += k * of.by_plate.grid_A
      gs += k * of.by_screen.grid_A
      gg += k * of.by_grid.grid_A
    }
    const gas = valve.gas
    const place = at * electrodes
    stampRow(
      valvePlace,
      valveNode,
      values,
      right,
      place,
      at,
      0,
      pp,
      ps,
      pg,
      Ip - pp * plate_V - ps * screen_V - pg * grid_V,
    )
    if (valve.kind !== 'triode') {
      stampRow(
        valvePlace,
        valveNode,
        values,
        right,
        place,
        at,
        1,
        sp,
        ss,
        sg,
        Is - sp * plate_V - ss * screen_V - sg * grid_V,
      )
    }
    gp -= gas * pp
    gs -= gas * ps
    const gOwn = gg - gas * pg
    stampRow(
      valvePlace,
      valveNode,
      values,
      right,
      place,
      at,
      2,
      gp,
      gs,
      gOwn,
      Ig - gas * Ip - gp * plate_V - gs * screen_V - gOwn * grid_V,
    )
  }
}

/** One electrode's current, I = byPlate·Vpk + byScreen·Vsk + byGrid·Vgk + j, into the electrode and out of the cathode. */
function stampRow(
  place: Int32Array,
  node: Int32Array,
  values: Float64Array,
  right: Float64Array,
  first: number,
  firstNode: number,
  row: number,
  byPlate: number,
  byScreen: number,
  byGrid: number,
  j: number,
): void {
  const p = first + row * electrodes
  const k = first + 3 * electrodes
  const back = byPlate + byScreen + byGrid
  add(values, place[p] ?? 0, byPlate)
  add(values, place[p + 1] ?? 0, byScreen)
  add(values, place[p + 2] ?? 0, byGrid)
  add(values, place[p + 3] ?? 0, -back)
  add(values, place[k] ?? 0, -byPlate)
  add(values, place[k + 1] ?? 0, -byScreen)
  add(values, place[k + 2] ?? 0, -byGrid)
  add(values, place[k + 3] ?? 0, back)
  add(right, node[firstNode + row] ?? 0, -j)
  add(right, node[firstNode + 3] ?? 0, j)
}

export function add(values: Float64Array, at: number, more: number): void {
  values[at] = (values[at] ?? 0) + more
}

/** Puts each supply on the line of its state. */
export function lineSupplies(circuit: Circuit, scale: number): void {
  for (const i of circuit.supplies) {
    const supply = circuit.branches[i]
    if (supply?.kind !== 'supply') continue
    const state = circuit.supplyState[i]
    const g = state === holding ? conductance(supply.ohm) : 0
    circuit.g[i] = g
    circuit.j[i] =
      state === holding ? -g * supply.V * scale : state === limited ? -Math.max(supply.limit_A, 0) : 0
  }
}

/** Moves supplies between holding, limited and open by the volts found; true when one moved. */
export function moveSupplies(circuit: Circuit, v: Float64Array, scale: number): boolean {
  let moved = false
  for (const i of circuit.supplies) {
    const supply = circuit.branches[i]
    if (supply?.kind !== 'supply') continue
    const state = circuit.supplyState[i] ?? holding
    const limit_A = Math.max(supply.limit_A, 0)
    const drop = supply.V * scale - ((v[circuit.a[i] ?? 0] ?? 0) - (v[circuit.b[i] ?? 0] ?? 0))
    const I = drop * conductance(supply.ohm)
    let next = state
    if (state === holding) {
      if (I > limit_A + 1e-9) next = limited
      else if (I < -1e-9) next = open
    } else if (state === limited) {
      if (I < limit_A - 1e-9) next = holding
    } else if (drop > 1e-9) next = holding
    if (next !== state) {
      circuit.supplyState[i] = next
      moved = true
    }
  }
  return moved
}
