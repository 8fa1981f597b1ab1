import type { Chance } from '../chance/index.js'
import { drivenDraw, drivenStages, type Equipment, recordOf, type StageInMode } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { coldRatio, type TubeRecord } from '../tubes/index.js'
import { capacitorFactor, coldRatioOf, emissionFactor, heaterFactor, resistorFactor } from './draw.js'
import { type Oxide, periodLimit_A } from './forming.js'
import { type Chain, type Dropper, type Heater, makeHeater } from './warmth.js'

/** The parts of one real set that have a state of their own, and how all of them differ from the file. */
export interface Parts {
  readonly equipment: Equipment
  /** By tube or lamp. */
  readonly heaters: ReadonlyMap<string, Heater>
  readonly chains: readonly Chain[]
  /** Tubes and lamps in chains; others are taken as warmed by a supply of their own. */
  readonly heatedHere: ReadonlySet<string>
  /** By capacitor (electrolytics only). */
  readonly oxides: ReadonlyMap<string, Oxide>
  readonly records: ReadonlyMap<string, TubeRecord>
  /** Grid current over plate current by tube: what residual gas there is. */
  readonly gas: Map<string, number>
  /** Fault factors on emission by tube (weak, strong, none); 1 when absent. */
  readonly strength: Map<string, number>
  /** Lit or dark, by gas regulator. */
  readonly lit: Map<string, boolean>
  /** Factor on a part's value. */
  factor(part: string): number
  /** Published space current times this, when hot: spread of used tubes. */
  tube(part: string): number
  /** Share of its emission that a cathode long asleep lacks at first. */
  asleep(part: string): number
  chance(name: string): Chance
  /** The driven stages in a mode, and what one draws at these volts: asked at every reading. */
  stages(mode: string): readonly StageInMode[]
  drawn_by(of: StageInMode, working_V: number): ReturnType<typeof drivenDraw>
  /** The circuit's elements with values given from outside, or null where they are drawn here. */
  readonly drawn: ((nominal: readonly Element[]) => readonly Element[]) | null
}

export function drawParts(equipment: Equipment, source: Chance, drawn: Parts['drawn']): Parts {
  const records = new Map<string, TubeRecord>()
  for (const [name, tube] of Object.entries(equipment.tubes)) {
    const found = recordOf(tube)
    if (found !== null) records.set(name, found)
  }
  const heaters = drawHeaters(equipment, records, source)
  const chains = makeChains(equipment, heaters, source)
  const tubes = Object.keys(equipment.tubes)
  const spread = new Map(tubes.map((tube) => [tube, emissionFactor(source.fork(`emission ${tube}`))]))
  const asleep = new Map(tubes.map((tube) => [tube, 0.08 * source.fork(`asleep ${tube}`).next()]))
  return {
    equipment,
    records,
    heaters,
    chains,
    heatedHere: new Set(chains.flatMap(({ series }) => series.flat().map(({ name }) => name))),
    oxides: drawOxides(equipment, source),
    gas: new Map(),
    strength: new Map(),
    lit: new Map(),
    factor: (part) => valueFactor(equipment, part, source),
    tube: (part) => (drawn === null ? (spread.get(part) ?? 1) : 1),
    asleep: (part) => asleep.get(part) ?? 0,
    chance: (name) => source.fork(name),
    ...rememberStages(equipment),
    drawn,
  }
}

function rememberStages(equipment: Equipment): Pick<Parts, 'stages' | 'drawn_by'> {
  const byMode = new Map<string, readonly StageInMode[]>()
  const draws = new Map<
    StageInMode,
    { readonly at_V: number; readonly draw: ReturnType<typeof drivenDraw> }
  >()
  return {
    stages(mode) {
      const known = byMode.get(mode) ?? drivenStages(equipment, mode)
      byMode.set(mode, known)
      return known
    },
    drawn_by(of, working_V) {
      const known = draws.get(of)
      if (known?.at_V === working_V) return known.draw
      const draw = drivenDraw(equipment, of, working_V)
      draws.set(of, { at_V: working_V, draw })
      return draw
    },
  }
}

function valueFactor(equipment: Equipment, name: string, source: Chance): number {
  const part = equipment.parts[name] ?? equipment.rail_capacitors[name]
  const own = source.fork(`value ${name}`)
  if (part === undefined) return 1
  if (!('kind' in part) || part.kind === 'capacitor') return capacitorFactor(own, part.dielectric)
  switch (part.kind) {
    case 'resistor':
      return resistorFactor(own, part.tolerance, part.make)
    case 'potentiometer':
      return resistorFactor(own, part.tolerance, 'carbon composition')
    case 'heater resistor':
      return resistorFactor(own, part.tolerance, 'wirewound')
    case 'choke':
    case 'winding':
      return resistorFactor(own, 0.08, 'wirewound')
    default:
      return 1
  }
}

function drawHeaters(
  equipment: Equipment,
  records: ReadonlyMap<string, TubeRecord>,
  source: Chance,
): Map<string, Heater> {
  const heaters = new Map<string, Heater>()
  for (const [name, record] of records) {
    if (record.heater === null || record.cathode === 'cold') continue
    const own = source.fork(`heater ${name}`)
    heaters.set(
      name,
      makeHeater({
        name,
        hot_V: record.heater.volts.value,
        hot_A: record.heater.amps.value * heaterFactor(own),
        cathode: record.cathode,
        ratio: coldRatioOf(own, coldRatio(record.cathode).typical),
        mass: 0.9 + 0.5 * own.next(),
      }),
    )
  }
  for (const [name, part] of Object.entries(equipment.parts)) {
    if (part.kind !== 'lamp') continue
    const own = source.fork(`heater ${name}`)
    heaters.set(
      name,
      makeHeater({
        name,
        hot_V: part.volts,
        hot_A: part.amps * heaterFactor(own),
        cathode: 'lamp',
        ratio: coldRatioOf(own, 6.5),
        mass: 0.7 + 0.6 * own.next(),
      }),
    )
  }
  return heaters
}

/** Chains as the file says; tubes in none of them lie across the only heater rail, where there is one that fits. */
function makeChains(equipment: Equipment, heaters: Map<string, Heater>, source: Chance): Chain[] {
  const placed = new Set<string>()
  const chains: Chain[] = []
  for (const [name, chain] of Object.entries(equipment.heater_chains)) {
    const series = chain.series.map((group) =>
      group.flatMap((element): (Heater | Dropper)[] => {
        placed.add(element)
        const heater = heaters.get(element)
        if (heater !== undefined) return [heater]
        const part = equipment.parts[element]
        if (part?.kind !== 'heater resistor' && part?.kind !== 'resistor') return []
        return [{ name: element, ohm: part.ohm * valueFactor(equipment, element, source) }]
      }),
    )
    chains.push({
      name,
      rail: chain.rail,
      lead_ohm: chain.lead_ohm,
      series: series.filter((group) => group.length > 0),
    })
  }
  const rails = Object.entries(equipment.rails).filter(([, rail]) => rail.role === 'heater')
  for (const [name, heater] of heaters) {
    const part = equipment.parts[name]
    if (placed.has(name) || equipment.tubes[name]?.pulled === true) continue
    if (part?.kind === 'lamp' && part.between !== undefined) continue
    const fitting = rails.find(([, rail]) => Math.abs(rail.working_V - heater.hot_V) < 0.15 * heater.hot_V)
    if (fitting !== undefined) {
      chains.push({ name, rail: fitting[0], lead_ohm: 0.005, series: [[heater]] })
    }
  }
  return chains
}

function drawOxides(equipment: Equipment, source: Chance): Map<string, Oxide> {
  const oxides = new Map<string, Oxide>()
  const all = { ...equipment.rail_capacitors, ...equipment.parts }
  for (const [name, part] of Object.entries(all)) {
    if (!('dielectric' in part) || part.dielectric !== 'electrolytic') continue
    const own = source.fork(`oxide ${name}`)
    oxides.set(name, {
      F: part.F,
      rated_V: part.rated_V,
      formed_A: periodLimit_A(part.F, part.rated_V) * (0.1 + 0.2 * own.next()),
      // Lifted for treatment: it has stood for decades, and takes milliamperes at first.
      fresh: equipment.lifted === true ? 8 + 16 * own.next() : 1.5 + 1.5 * own.next(),
      n: 0.5 + 0.5 * own.next(),
      worked_s: 0,
      seed: Math.floor(1e6 * source.fork(`bursts ${name}`).next()),
    })
  }
  return oxides
}
