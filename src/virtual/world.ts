import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import {
  createTransient,
  type Element,
  regulatorsTurned,
  type Solution,
  type Transient,
} from '../network/index.js'
import { type Body, broken_ohm, makeBody } from './body.js'
import { form } from './forming.js'
import { across, type Volts } from './live.js'
import {
  apply,
  averaged,
  flowingOut,
  lead_ohm,
  type Output,
  protect,
  readBack,
  slew,
  sourceElement,
  terminal_V,
  terminalElements,
  type Terminals,
  terminalsIn,
} from './outputs.js'
import type { Oxide } from './forming.js'
import { type OwnPack, ownSource, warmPack } from './own-mains.js'
import type { Parts } from './parts.js'
import type { FaultSpec } from './types.js'
import { chainHaste, type Heater, warm, warmChain } from './warmth.js'

/** A rail nobody's program drives: a person's knob behind some resistance. */
export interface Knob {
  readonly rail: string
  readonly limit_A: number
  V: number
  /** Where it is being turned to, V, and how fast, V/s. */
  to_V: number
  V_per_s: number
  /** Behind it, where it is more than a knob's own. */
  ohm?: number
}

/** Supplies, leads and set as one network in time. */
export interface World extends Pick<Transient, 'volt' | 'currents'> {
  readonly now_us: number
  /** Goes on to this time; cheap while nothing moves. */
  advance(t_us: number): void
  /** Something set from outside has changed at `t_us`: the past is finished with the old settings first. */
  touched(t_us: number): void
  /** Mode or faults changed: the network is laid anew, with the charges it has. */
  relay(mode: string, faults: readonly FaultSpec[]): void
  readonly solution: Solution
  /** What every output reads back at `t_us`, at which the world stands or which it will come to. */
  measure(t_us: number): void
  /** The network as it stands, for a meter clipped on. */
  elements(): readonly Element[]
  railVolts(rail: string): number
}

type Source = Extract<Element, { kind: 'supply' }>

/** A part with a state of its own, between two nodes. */
interface At<Of> {
  readonly of: Of
  readonly a: string
  readonly b: string
}
const at = <Of>(of: Of | undefined, { a, b }: Omit<At<Of>, 'of'>): At<Of>[] =>
  of === undefined ? [] : [{ of, a, b }]

/** Longest and shortest step of the coupled world, s; between them by how fast things move. */
const longest_s = 1
/** Lifted electrolytics: nothing there warms, and leakage changes over minutes. */
const longestLifted_s = 10
const shortest_s = 0.04
/** Part of a heater's temperature that may pass in one step. */
const heatStep = 0.01
/** Insulation of a floating output to the bench's earth, ohm (common practice, no source). */
const insulation_ohm = 1e9

export function createWorld(
  parts: Parts,
  bench: Bench,
  outputs: readonly Output[],
  knobs: readonly Knob[],
  start: { readonly mode: string; readonly faults: readonly FaultSpec[]; readonly pack: OwnPack | null },
): World {
  const { equipment } = parts
  const most_s = equipment.lifted === true ? longestLifted_s : longest_s
  let now_us = 0
  let mode = start.mode
  const { pack } = start
  let faults = start.faults
  let body: Body
  let transient: Transient
  let all: Map<string, Element>
  /** Parts of the network laid that age, with their ends, and the names of its gas regulators. */
  let oxides: readonly At<Oxide>[] = []
  let lamps: readonly At<Heater>[] = []
  let regulators: readonly string[] = []
  let terminals: readonly Terminals[] = []
  /** Volts of all nodes before the step under way. */
  let before = new Float64Array(0)
  /** State of the network laid before, whose charges and choke currents the next one takes over. */
  let laid: Solution | undefined
  /** Nothing needs computing before this time while nobody touches anything. */
  let quiet_us = 0
  let step_s = shortest_s
  /** What each source was last laid with. */
  const sent = new Map<string, { readonly V: number; readonly limit_A: number }>()

  const lay = (): void => {
    body = makeBody(parts, mode, faults)
    const volts: Volts = { volt: (node) => laid?.volts[node] ?? 0 }
    const elements: Element[] = [...body.fixed]
    for (const live of body.live) {
      live.last = live.key(volts)
      elements.push(live.element(volts))
    }
    for (const [i, element] of elements.entries()) {
      if (element.kind === 'regulator') {
        elements[i] = { ...element, lit: parts.lit.get(element.name) ?? false }
      }
    }
    elements.push(...hookUp(equipment, bench, outputs, knobs, faults))
    all = new Map(elements.map((element) => [element.name, element]))
    transient = createTransient({ ground: equipment.chassis_node, elements }, laid?.volts, laid?.currents)
    sent.clear()
    transient.goOn(0)
    oxides = elements.flatMap((element) =>
      element.kind === 'capacitor' ? at(parts.oxides.get(element.name), element) : [],
    )
    lamps = elements.flatMap((element) =>
      element.kind === 'resistor' ? at(parts.heaters.get(element.name), element) : [],
    )
    regulators = elements.flatMap(({ kind, name }) => (kind === 'regulator' ? [name] : []))
    terminals = outputs.map((output) => terminalsIn(transient, output))
    before = new Float64Array(transient.nodeVolts.length)
    quiet_us = now_us
    step_s = shortest_s
  }

  /** Everything that has changed by itself or was set since the last step. */
  const changes = (dt_s: number): { readonly elements: Element[]; readonly moving: boolean } => {
    const elements: Element[] = []
    let moving = false
    for (const live of body.live) {
      const key = live.key(transient)
      if (Math.abs(key - live.last) <= Math.max(live.floor, 1e-3 * Math.abs(live.last))) continue
      live.last = key
      elements.push(live.element(transient))
    }
    for (const output of outputs) {
      moving = slew(output, dt_s) || moving
      send(elements, sourceElement(output))
    }
    if (pack !== null && (pack.V > 0 || pack.to_V > 0)) {
      moving = travel(pack, dt_s) || moving
      for (const knob of knobs) {
        const source = ownSource(pack, equipment, mode, knob.rail, railVolts(knob.rail))
        knob.V = source.V
        knob.to_V = source.V
        knob.ohm = source.ohm
      }
    }
    for (const knob of knobs) {
      moving = travel(knob, dt_s) || moving
      send(elements, knobElement(knob))
    }
    return { elements, moving }
  }
  const send = (elements: Element[], source: Source): void => {
    const last = sent.get(source.name)
    if (last?.V === source.V && last.limit_A === source.limit_A) return
    sent.set(source.name, source)
    elements.push(source)
  }

  const age = (dt_s: number): void => {
    if (pack !== null) warmPack(pack, dt_s)
    for (const chain of parts.chains) warmChain(chain, railVolts(chain.rail), dt_s)
    for (const { of, a, b } of oxides) form(of, across(transient, a, b), dt_s)
    for (const { of, a, b } of lamps) warm(of, across(transient, a, b), dt_s)
    for (const fault of faults) {
      if (fault.kind !== 'gassy') continue
      breathe(parts, fault, transient.solution.currents, dt_s, equipment.level !== 3)
    }
  }
  const railVolts = (rail: string): number => {
    const declared = equipment.rails[rail]
    return declared === undefined ? 0 : across(transient, declared.positive, declared.negative)
  }

  const haste = (): number => {
    let fastest = 0
    for (const chain of parts.chains) {
      fastest = Math.max(fastest, chainHaste(chain, railVolts(chain.rail)))
    }
    return fastest
  }

  const step = (dt_s: number): void => {
    before.set(transient.nodeVolts)
    const { elements, moving } = changes(dt_s)
    for (const element of elements) all.set(element.name, element)
    transient.goOn(dt_s, elements)
    age(dt_s)
    const tubes = regulators.flatMap((name) => all.get(name) ?? [])
    const turned = regulatorsTurned(tubes, (node) => transient.volt(node))
    for (const regulator of turned) {
      parts.lit.set(regulator.name, regulator.lit)
      all.set(regulator.name, regulator)
    }
    if (turned.length > 0) transient.goOn(1e-6, turned)
    let fired = false
    for (const at of terminals) fired = protect(at.output, terminal_V(at, transient)) || fired
    for (const at of terminals)
      at.output.averaged_A = averaged(at.output.averaged_A, flowingOut(at, transient), dt_s)
    now_us += Math.round(dt_s * 1e6)
    if (moving || fired || turned.length > 0) step_s = shortest_s
    else step_s = nextStep(step_s, dt_s, before, transient.nodeVolts, haste(), most_s)
  }

  const run = (t_us: number): void => {
    let last_s = step_s
    while (now_us < t_us) {
      last_s = Math.min(step_s, (t_us - now_us) / 1e6)
      step(last_s)
    }
    // Fifty microseconds after a set-point moved the charge still runs: so short a look says nothing of the next tenth of a second.
    quiet_us = now_us + Math.round(Math.min(step_s, 2 * last_s) * 1e6)
  }

  lay()
  return {
    get now_us() {
      return now_us
    },
    get solution() {
      return transient.solution
    },
    volt: (node) => transient.volt(node),
    currents: (element) => transient.currents(element),
    measure(t_us) {
      const since_s = Math.max(0, t_us - now_us) / 1e6
      for (const at of terminals) {
        const { output } = at
        const amps = averaged(output.averaged_A, flowingOut(at, transient), since_s)
        const limiting = at.source !== null && transient.limits(at.source)
        readBack(output, terminal_V(at, transient), amps, limiting)
      }
    },
    advance(t_us) {
      if (t_us >= quiet_us) run(t_us)
    },
    touched(t_us) {
      run(t_us)
      for (const output of outputs) apply(output)
      step_s = shortest_s
      quiet_us = now_us
    },
    relay(nextMode, nextFaults) {
      laid = transient.solution
      mode = nextMode
      faults = nextFaults
      lay()
    },
    elements: () => [...all.values()],
    railVolts,
  }
}

/** How long the next step may be: so that no node is expected to move by more than a twentieth of a volt and a thousandth. */
function nextStep(
  step_s: number,
  dt_s: number,
  before: Float64Array,
  after: Float64Array,
  haste: number,
  most_s: number,
): number {
  let fastest = 1e-9
  for (let i = 0; i < after.length; i++) {
    const now = after[i] ?? 0
    const rate = Math.abs(now - (before[i] ?? 0)) / dt_s / (0.05 + 1e-3 * Math.abs(now))
    if (rate > fastest) fastest = rate
  }
  const allowed = Math.min(1 / fastest, heatStep / Math.max(haste, 1e-9))
  return Math.max(shortest_s, Math.min(most_s, allowed, step_s * 2))
}

/** Full gas comes out over half a minute of conduction; grid current per ampere of plate current (common practice, no source). */
function breathe(
  parts: Parts,
  fault: FaultSpec,
  currents: Solution['currents'],
  dt_s: number,
  byRail: boolean,
): void {
  const full = fault.value ?? 0.004
  const conducts =
    byRail ||
    Object.entries(currents).some(
      ([name, { plate }]) => plate !== undefined && plate > 1e-4 && name.startsWith(fault.part),
    )
  const now = parts.gas.get(fault.part) ?? 0
  if (conducts) parts.gas.set(fault.part, full - (full - now) * Math.exp(-dt_s / 30))
}

/** A knob on its way; true while it moves. */
function travel(knob: Pick<Knob, 'V' | 'to_V' | 'V_per_s'>, dt_s: number): boolean {
  if (knob.V === knob.to_V) return false
  const most_V = knob.V_per_s * dt_s
  const left_V = knob.to_V - knob.V
  knob.V = Math.abs(left_V) <= most_V ? knob.to_V : knob.V + Math.sign(left_V) * most_V
  return true
}

function knobElement(knob: Knob): Source {
  return {
    kind: 'supply',
    name: `knob ${knob.rail}`,
    a: `bench ${knob.rail} +`,
    b: `bench ${knob.rail} -`,
    V: knob.V,
    limit_A: knob.limit_A,
    ohm: knob.ohm ?? 0.05,
  }
}

/** Supplies, their terminals, and the leads to the set, with whatever is wrong about them. */
function hookUp(
  equipment: Equipment,
  bench: Bench,
  outputs: readonly Output[],
  knobs: readonly Knob[],
  faults: readonly FaultSpec[],
): Element[] {
  const made: Element[] = []
  const wire = (name: string, a: string, b: string, ohm: number): void => {
    made.push({ kind: 'resistor', name, a, b, ohm })
  }
  for (const [rail, declared] of Object.entries(equipment.rails)) {
    const mine = outputs.filter((output) => output.rail === rail)
    const order = bench.stacks.find((stack) => stack.rail === rail)?.channels
    const channels =
      order === undefined ? mine : mine.sort((a, b) => order.indexOf(a.name) - order.indexOf(b.name))
    const knob = knobs.find((other) => other.rail === rail)
    const first = channels[0]
    const last = channels.at(-1)
    if (knob !== undefined) made.push(knobElement(knob))
    for (const [i, output] of channels.entries()) {
      made.push(sourceElement(output), ...terminalElements(output, channels.length > 1))
      const next = channels[i + 1]
      if (next !== undefined) wire(`link ${output.name}`, output.minus, next.plus, 2e-3)
    }
    if (knob === undefined && (first === undefined || last === undefined)) continue
    const top = first === undefined ? `bench ${rail} +` : first.plus
    const bottom = last === undefined ? `bench ${rail} -` : last.minus
    wire(`insulation ${rail}`, bottom, equipment.chassis_node, insulation_ohm)
    made.push(...inLead(equipment, rail, top))
    const clipped = declared.feeds.bench_bleeder_ohm
    if (clipped !== undefined && channels.every(({ spec }) => spec.bleeder_ohm === null)) {
      wire(`bleeder ${rail}`, top, bottom, clipped)
    }
    const off = faults.some(
      ({ part, kind }) => part === rail && (kind === 'lead-off' || kind === 'bias-lost'),
    )
    const ohm = first === undefined ? 0.02 : lead_ohm(first)
    const [positive, negative] = clippedTo(equipment, rail, faults)
    const hotIsPositive = declared.positive !== equipment.chassis_node
    wire(`lead ${rail} +`, leadEnd(equipment, rail, top), positive, off && hotIsPositive ? broken_ohm : ohm)
    wire(`lead ${rail} -`, bottom, negative, off && !hotIsPositive ? broken_ohm : ohm)
  }
  for (const [name, meter] of Object.entries(bench.meters)) {
    // A person's meter hangs on lifted parts all the time; elsewhere it is clipped on for a reading.
    const isThere = meter.line !== null || meter.on !== null || equipment.lifted === true
    if (!isThere || meter.measures !== 'V' || meter.at === null) continue
    // With a lead off it loads nothing.
    if (faults.some(({ part, kind }) => part === `input.${name}` && kind === 'open')) continue
    const b = meter.against ?? equipment.chassis_node
    made.push({ kind: 'meter', name: `meter ${name}`, a: meter.at, b, ohm: meter.ohm })
  }
  return made
}

/** Where the two leads of a rail are clipped in fact. */
function clippedTo(
  equipment: Equipment,
  rail: string,
  faults: readonly FaultSpec[],
): readonly [string, string] {
  let at = rail
  let turned = false
  for (const { part, kind, other } of faults) {
    if (kind === 'swapped' && part === rail && other !== null) at = other
    if (kind === 'swapped' && other === rail) at = part
    if (kind === 'reversed' && part === rail) turned = !turned
  }
  const declared = equipment.rails[at]
  if (declared === undefined) return [equipment.chassis_node, equipment.chassis_node]
  return turned ? [declared.negative, declared.positive] : [declared.positive, declared.negative]
}

/** What the hook-up sheet puts into the positive lead: bleeder across the terminals, fuse, feed resistor, blocking diode. */
function inLead(equipment: Equipment, rail: string, top: string): Element[] {
  const feeds = equipment.rails[rail]?.feeds
  if (feeds === undefined) return []
  const made: Element[] = []
  const between = `bench ${rail} lead`
  const series = (feeds.series_ohm ?? 0) + (feeds.fuse_A === undefined ? 0 : fuse_ohm(feeds.fuse_A))
  if (series > 0) {
    const b = feeds.blocking_diode === true ? between : leadEnd(equipment, rail, top)
    made.push({ kind: 'resistor', name: `feed ${rail}`, a: top, b, ohm: series })
  }
  if (feeds.blocking_diode === true) {
    const a = series > 0 ? between : top
    made.push({ kind: 'junction', name: `blocking diode ${rail}`, a, b: leadEnd(equipment, rail, top) })
  }
  return made
}

/** Node at which the positive lead itself begins. */
function leadEnd(equipment: Equipment, rail: string, top: string): string {
  const feeds = equipment.rails[rail]?.feeds
  const plain =
    feeds?.series_ohm === undefined && feeds?.fuse_A === undefined && feeds?.blocking_diode !== true
  return plain ? top : `bench ${rail} lead end`
}

/** A small glass fuse drops some 0.3 V at its rating (common practice, no source). */
function fuse_ohm(rated_A: number): number {
  return 0.3 / Math.max(rated_A, 0.01)
}
