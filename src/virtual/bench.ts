import { chance } from '../chance/index.js'
import type { Bench, Meter } from '../bench/index.js'
import { type Equipment, type ModeName, ownMainsRail, sectionName } from '../equipment/index.js'
import { createTransient, type Element, solve } from '../network/index.js'
import { createCase } from './case.js'
import { railGrid_A } from './drive.js'
import { spoilOxide } from './forming.js'
import { inputNames, portNames } from './faults.js'
import { createInput, type VirtualInput } from './inputs.js'
import { createLines, outputsAt } from './lines.js'
import { across } from './live.js'
import { differs, drive, makeOutput, type Output } from './outputs.js'
import { createOwnPack, plugAmps, windingVolts } from './own-mains.js'
import { drawParts } from './parts.js'
import { createRelay } from './relay.js'
import { createTimers, timerSet } from './timer.js'
import type { VirtualInstrument } from './supplies-types.js'
import type { FaultSpec, VirtualBench } from './types.js'
import { createWorld, type Knob } from './world.js'

export interface VirtualBenchOptions {
  readonly seed: number
  /** Checked with `checkFault` before; one that fits nothing here has no effect. */
  readonly faults: readonly FaultSpec[]
  readonly mode: ModeName
  /**
   * Values of this set's resistors, tubes and gas regulators where they are not to be drawn here: nominal elements in, those
   * that differ out. All else (capacitors, heaters, oxides, calibration) is still drawn by `seed`.
   */
  readonly drawn?: (nominal: readonly Element[]) => readonly Element[]
}

/** A line as the bench hears it. */
interface Talk {
  readonly port: string
  /** Another, once its plug has moved. */
  instrument: VirtualInstrument
  at_us: number
}

interface Shown {
  readonly volts: number
  readonly amps: number
}

/** How long a person takes to turn a knob (common practice, no source): a jump would charge a reservoir in one blow. */
const turned_s = 1.5

/** What a hand source can give, A, by what it feeds (common practice, no source). */
const knob_A = { heater: 20, bias: 0.1, HT: 0.5, screen: 0.2, drive: 0.1, other: 1 }

/** Low enough that no junction or regulator answers (common practice, no source). */
const ohmmeter_V = 0.3

/** How often the world looks whether a fault that waits for volts is due, µs. */
const look_us = 100_000

/**
 * A bench and a set as they might really be: every part differs from the file by `seed`, and fails as `faults` say.
 * Nothing of it is the plan's arithmetic: tolerances, heaters, emission, leakage and calibration are drawn here.
 */
export function createVirtualBench(
  equipment: Equipment,
  bench: Bench,
  options: VirtualBenchOptions,
): VirtualBench {
  const source = chance(options.seed)
  const parts = drawParts(equipment, source.fork('set'), options.drawn ?? null)
  const outputs = makeOutputs(bench, source.fork('supplies'))
  const fed = new Set(outputs.map(({ rail }) => rail))
  const knobs: Knob[] = Object.entries(equipment.rails).flatMap(([rail, { role }]) =>
    fed.has(rail) ? [] : [{ rail, limit_A: knob_A[role], V: 0, to_V: 0, V_per_s: 0 }],
  )
  const active: FaultSpec[] = []
  /** Feed resistors that a person took a part off, or exchanged. */
  const takenOff: FaultSpec[] = []
  let waiting = [...options.faults]
  let mode = options.mode
  let step = 0
  // Bench supplies and the set's own pack are never on it together.
  const pack = fed.size > 0 ? null : createOwnPack(equipment, parts.heaters, source.fork('own mains'))
  const world = createWorld(parts, bench, outputs, knobs, { mode, faults: [], pack })
  const noise = source.fork('read-back')
  const warmth = createCase()
  const felt = Object.values(bench.meters).some(({ measures }) => measures === '°C')
  let warmed_us = 0
  /** The world itself stands still while nothing in it moves. */
  let clock_us = 0
  const relay = bench.cut_off === undefined ? null : createRelay(bench.cut_off)
  const timers = bench.outside_timer === undefined ? null : createTimers(bench.outside_timer)
  const inputs = makeInputs()
  const lines = createLines(bench, outputs, inputs, source)
  const { instruments, left } = lines
  /** When each instrument says something next: only what it is told, and taking what it says, changes that. */
  const talks: Talk[] = [...instruments].map(([port, instrument]) => ({ port, instrument, at_us: Infinity }))
  const talkOf = new Map(talks.map((talk) => [talk.port, talk]))
  const listen = (talk: Talk): void => {
    talk.at_us = talk.instrument.next_us() ?? Infinity
  }

  function makeInputs(): Map<string, VirtualInput> {
    return new Map(
      inputNames(bench).flatMap((name): [string, VirtualInput][] => {
        const meter = bench.meters[name]
        if (meter === undefined) return []
        const input = createInput(
          name,
          meter,
          source.fork(`meter ${name}`),
          () => meterSees(meter),
          () => noise.normal(),
        )
        return [[name, meter.feeds === true && relay !== null ? relay.fed(input, () => clock_us) : input]]
      }),
    )
  }

  function meterSees(meter: Meter): number {
    if (meter.feeds === true && relay !== null) return relay.closed(clock_us) ? 1 : 0
    if (meter.measures === 'contact') return 1
    if (meter.measures === '°C') return warmth.degrees
    if (meter.rail !== null && (meter.at === null || meter.measures === 'A')) {
      return meter.measures === 'A' ? railAmps(meter.rail) : world.railVolts(meter.rail)
    }
    return shownGrid_V(meter) ?? across(world, meter.at ?? '', meter.against ?? equipment.chassis_node)
  }
  /** Where no circuit holds the resistor that shows a grid current, its stage says what it is. */
  function shownGrid_V(meter: Meter): number | null {
    for (const { tube, stage } of parts.stages(mode)) {
      const { node, against, ohm } = stage.shows ?? {}
      if (ohm === undefined) continue
      if (meter.at === node && meter.against === against) return -grid_A(tube) * ohm
      if (meter.at === against && meter.against === node) return grid_A(tube) * ohm
    }
    return null
  }
  function grid_A(tube: string): number {
    if (equipment.level < 3) return railGrid_A(parts, mode, active, tube, world)
    const sections = equipment.tubes[tube]?.sections ?? []
    return sections.reduce(
      (sum, _, at) => sum + (world.currents(sectionName(tube, sections.length, at)).grid ?? 0),
      0,
    )
  }
  /** Current in the rail's positive lead. */
  function railAmps(rail: string): number {
    return world.currents(`lead ${rail} +`).a ?? 0
  }

  /** What the meters of a set on its own pack show: its plug, its windings. */
  function packReadings(): [string, Shown][] {
    if (pack === null) return []
    const watts = Object.keys(equipment.rails).reduce(
      (sum, rail) => sum + Math.abs(world.railVolts(rail) * railAmps(rail)),
      0,
    )
    return [
      [ownMainsRail, { volts: pack.V, amps: plugAmps(pack, watts) }],
      ...Object.keys(pack.of.windings).map((winding): [string, Shown] => [
        `winding ${winding}`,
        { volts: windingVolts(pack, winding), amps: 0 },
      ]),
    ]
  }

  /** What all rails take goes into the case. */
  function warmCase(): void {
    let watts = 0
    for (const rail of Object.keys(equipment.rails)) watts += Math.abs(world.railVolts(rail) * railAmps(rail))
    warmth.pass((world.now_us - warmed_us) / 1e6, watts)
    warmed_us = world.now_us
  }

  function due(fault: FaultSpec, t_us: number): boolean {
    switch (fault.when.kind) {
      case 'always':
        return true
      case 'time':
        return t_us >= fault.when.after_us
      case 'step':
        return step >= fault.when.step
      case 'volts':
        return world.railVolts(fault.when.rail) > fault.when.above_V
    }
  }

  /** Lets faults that are due begin. */
  function fail(t_us: number): void {
    if (!waiting.some((fault) => due(fault, t_us))) return
    const now = waiting.filter((fault) => due(fault, t_us))
    waiting = waiting.filter((fault) => !now.includes(fault))
    world.touched(t_us)
    for (const fault of now) {
      active.push(fault)
      spoilTube(fault)
      spoilSupply(fault)
      const oxide = parts.oxides.get(fault.part)
      if (oxide !== undefined) spoilOxide(oxide, fault.kind, fault.value)
      if (fault.kind === 'another') lines.plugMoved(fault.part.slice('line.'.length))
    }
    lines.faults(active)
    timers?.faults(active)
    for (const talk of talks) {
      talk.instrument = instruments.get(talk.port) ?? talk.instrument
      listen(talk)
    }
    world.relay(mode, [...active, ...takenOff])
    world.touched(t_us)
  }

  function spoilTube({ part, kind, value }: FaultSpec): void {
    const heater = parts.heaters.get(part)
    if (kind === 'heater-open' || kind === 'missing' || (kind === 'open' && heater !== undefined)) {
      if (heater !== undefined) heater.open = true
    }
    if (kind === 'missing' || kind === 'no-emission') parts.strength.set(part, 0)
    if (kind === 'strong' || kind === 'weak') parts.strength.set(part, value ?? 1)
  }

  function spoilSupply({ part, kind, value }: FaultSpec): void {
    const mine = outputsAt(outputs, part)
    if (kind === 'ignores-off') for (const output of mine) output.ignoresOff = true
    if (kind === 'no-protection') for (const { face } of mine) face.inert = true
    if (kind === 'overheats') for (const { face } of mine) face.tripped = 'over-temperature'
    if (kind === 'drifts') for (const output of mine) output.drifts_per_s = ((value ?? 1) - 1) / 60
    if (kind === 'mis-sets') for (const { face } of mine) face.mis_sets = value ?? 1
    if (kind === 'reads-volts' || kind === 'reads-amps')
      for (const { face } of mine)
        face.reads = { ...face.reads, ...(kind === 'reads-volts' ? { V: value ?? 0 } : { A: value ?? 0 }) }
    if (kind === 'drop-out') {
      const one = mine.at(-1)
      if (one !== undefined) one.dropped = true
    }
    if (kind === 'trips') {
      for (const { face, spec } of mine) face.tripped = spec.over_voltage ? 'over-voltage' : 'over-current'
    }
  }

  const behindContacts = outputs.map((output) => {
    const [supply = ''] = output.name.split('.')
    return { output, supply, cuts: bench.cut_off?.cuts.includes(supply) === true }
  })
  /** What an open relay or timer keeps from its supplies. */
  function cut(t_us: number): void {
    clock_us = Math.max(clock_us, t_us)
    if (relay === null && timers === null) return
    const relayOpen = relay?.closed(t_us) === false
    for (const { output, supply, cuts } of behindContacts) {
      const open = (relayOpen && cuts) || timers?.open(supply, t_us) === true
      if (output.cut === open) continue
      output.cut = open
      world.touched(t_us)
    }
  }

  /** What the supplies behind the relay would give through it. */
  function behindRelay_V(): number {
    const its = behindContacts.filter(({ cuts }) => cuts)
    return Math.max(0, ...its.map(({ output }) => drive({ ...output, cut: false }).V))
  }

  /** Until when the world may go on before it is looked whether a waiting fault is due. */
  function nextLook_us(t_us: number): number {
    let next = Math.min(t_us, world.now_us + look_us)
    for (const { when } of waiting)
      if (when.kind === 'time' && when.after_us > world.now_us) next = Math.min(next, when.after_us)
    return next
  }

  function advance(t_us: number): void {
    cut(t_us)
    while (waiting.length > 0 && world.now_us < t_us) {
      const next = nextLook_us(t_us)
      const before = world.now_us
      world.advance(next)
      fail(next)
      if (world.now_us === before) break
    }
    world.advance(t_us)
    fail(t_us)
    if (felt && world.now_us - warmed_us >= look_us) warmCase()
  }

  function refresh(t_us: number): void {
    advance(t_us)
    world.measure(t_us)
  }

  /** Messages that an instrument has got to by now are acted on, whether or not anybody waits for a reply. */
  function act(t_us: number): void {
    for (const talk of talks) {
      if (talk.at_us > t_us) continue
      actOn(talk.instrument, t_us)
      listen(talk)
    }
    for (const instrument of left) actOn(instrument, t_us)
  }

  function actOn(instrument: VirtualInstrument, t_us: number): void {
    world.measure(t_us)
    instrument.receive('', t_us)
    if (outputs.some(differs)) world.touched(t_us)
  }

  /** `feed C5 33000`: a person puts another feed resistor in. */
  function exchangeFeed(what: string): void {
    const [, part = '', ohm] = /^(feed .+) (\d+(?:\.\d+)?)$/.exec(what) ?? []
    const fitted = equipment.parts[part]
    if (fitted?.kind !== 'resistor') return
    const text = `${part} exchanged`
    const value = Number(ohm) / fitted.ohm
    takenOff.push({ part, kind: 'drift', value, other: null, when: { kind: 'always' }, text })
    world.touched(world.now_us)
    world.relay(mode, [...active, ...takenOff])
  }

  /** As it stands whenever one of its members is asked for. */
  const truth: ReturnType<VirtualBench['truth']> = {
    get volts() {
      return { ...world.solution.volts, [equipment.chassis_node]: 0 }
    },
    get rails() {
      return Object.fromEntries([
        ...Object.keys(equipment.rails).map((rail): [string, Shown] => [
          rail,
          { volts: world.railVolts(rail), amps: railAmps(rail) },
        ]),
        ...packReadings(),
      ])
    },
    get outputs() {
      return Object.fromEntries(outputs.map((output) => [output.name, output.regulator_V > 0]))
    },
    get relay() {
      if (relay === null) return null
      return {
        closed: relay.closed(clock_us),
        get behind_V() {
          return behindRelay_V()
        },
      }
    },
  }

  lines.faults(active)
  fail(0)
  return {
    advance(t_us) {
      advance(t_us)
      act(t_us)
    },
    receive(port, text, t_us) {
      const talk = talkOf.get(port)
      if (talk === undefined) return
      refresh(t_us)
      talk.instrument.receive(text, t_us)
      listen(talk)
      if (outputs.some(differs)) world.touched(t_us)
    },
    take(port, t_us) {
      const talk = talkOf.get(port)
      if (talk === undefined || talk.at_us > t_us) return ''
      refresh(t_us)
      const text = talk.instrument.take(t_us)
      listen(talk)
      if (outputs.some(differs)) world.touched(t_us)
      return text
    },
    next_us() {
      let first = Infinity
      for (const { at_us } of talks) if (at_us < first) first = at_us
      return first === Infinity ? null : first
    },
    due(t_us) {
      let ports: string[] = []
      // One as a rule.
      for (const { port, at_us } of talks)
        if (at_us <= t_us) {
          if (ports.length === 0) ports = [port]
          else ports.push(port)
        }
      return ports
    },
    ports: () => portNames(bench),
    probe(node, against, ohm) {
      const { volts } = world.solution
      const meter = { kind: 'meter' as const, name: 'hand meter', a: node, b: against, ohm }
      const known = (name: string): boolean => name in volts || name === equipment.chassis_node
      if (!known(node) || !known(against)) return 0
      const clipped = createTransient(
        { ground: equipment.chassis_node, elements: [...world.elements(), meter] },
        volts,
      )
      clipped.goOn(0.5)
      return across(clipped, node, against)
    },
    ohms(rail) {
      if (rail === ownMainsRail)
        return pack === null ? Number.POSITIVE_INFINITY : pack.of.primary_ohm * pack.primary
      const now = world.elements()
      const lead = (sign: '+' | '-'): string | null => {
        const wire = now.find(({ name }) => name === `lead ${rail} ${sign}`)
        return wire?.kind === 'resistor' ? wire.a : null
      }
      const alone = now.find(({ name }) => name === rail)
      if (alone?.kind === 'resistor') return alone.ohm
      const [a, b] = [lead('+'), lead('-')]
      if (a === null || b === null) return Number.POSITIVE_INFINITY
      const dead = now.map((element) => (element.kind === 'supply' ? { ...element, V: 0 } : element))
      const meter = {
        kind: 'supply' as const,
        name: 'ohmmeter',
        a,
        b,
        V: ohmmeter_V,
        limit_A: 1e-3,
        ohm: 1,
      }
      const { volts, currents } = solve({ ground: equipment.chassis_node, elements: [...dead, meter] })
      const amps = -(currents['ohmmeter']?.a ?? 0)
      const V = (volts[a] ?? 0) - (volts[b] ?? 0)
      return amps > 1e-12 ? V / amps : Number.POSITIVE_INFINITY
    },
    truth: () => truth,
    grid_A,
    turn(rail, volts) {
      if (rail === ownMainsRail && pack !== null) {
        world.touched(world.now_us)
        pack.to_V = Math.max(0, volts)
        pack.V_per_s = Math.abs(pack.to_V - pack.V) / turned_s
        return
      }
      const knob = knobs.find((other) => other.rail === rail)
      if (knob === undefined) return
      world.touched(world.now_us)
      knob.to_V = Math.max(0, volts)
      knob.V_per_s = Math.abs(knob.to_V - knob.V) / turned_s
    },
    clear(name) {
      const output = outputs.find((other) => other.name === name)
      if (output === undefined) return
      output.face.on = false
      output.face.tripped = null
      instruments.get(name.split('.')[0] ?? '')?.panel?.()
      world.touched(world.now_us)
    },
    fit(what) {
      const timed = timerSet(what)
      if (timed !== null) timers?.start(timed.supply, timed.s, clock_us)
      exchangeFeed(what)
      if (pack === null) return
      if (what === 'set') pack.joined = true
      if (what === 'rectifier') pack.rectifies = true
    },
    lift(part) {
      const text = `${part} taken off`
      takenOff.push({
        part: `feed ${part}`,
        kind: 'open',
        value: null,
        other: null,
        when: { kind: 'always' },
        text,
      })
      world.touched(world.now_us)
      world.relay(mode, [...active, ...takenOff])
    },
    mode(next) {
      if (next === mode) return
      mode = next
      world.relay(mode, [...active, ...takenOff])
    },
    step(now) {
      step = now
    },
    faults: () => active.map(({ text }) => text),
  }
}

function makeOutputs(bench: Bench, source: ReturnType<typeof chance>): Output[] {
  return Object.entries(bench.supplies).flatMap(([supply, { channels }]) =>
    Object.entries(channels).map(([channel, spec]) => {
      const name = `${supply}.${channel}`
      return makeOutput(name, spec, source.fork(name))
    }),
  )
}
