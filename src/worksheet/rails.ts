import type { Equipment, NodeName, Rail, RailName } from '../equipment/index.js'
import { heaterWindow_ohm, type ColdReading, railOhm } from '../limits/index.js'
import { formatShort } from '../quantities/index.js'
import { look, ohmsBy, ours, practice, reading } from './check.js'
import type { ColdOhms } from './cold-ohms.js'
import type { ColdCheck } from './types.js'

/** "Under about 10 kΩ look for a short" where nothing else is known of an HT line. */
const shortBelow_ohm = 10e3
/** What is no short at all with nothing across the line. */
const nothing_ohm = 100e3
/** Leakage of electrolytics that have stood for decades takes up to this part of what the resistors make. */
const leak = 0.2
/** An ohmmeter charges capacitors through about this (common practice, no source). */
const ohmmeter_ohm = 100e3

interface Window {
  readonly low: number
  readonly high: number | null
  readonly usual: number | null
  readonly because: string
  readonly source: string
}

/** Each driven rail, positive against negative: forward, reversed, and whether its capacitors charge. */
export function railChecks(equipment: Equipment, mode: string, ohms: ColdOhms): ColdCheck[] {
  return Object.entries(equipment.rails).flatMap(([name, rail]) =>
    rail.role === 'heater' ? heaterRail(equipment, name, rail) : otherRail(equipment, name, rail, mode, ohms),
  )
}

function heaterRail(equipment: Equipment, name: RailName, rail: Rail): ColdCheck[] {
  const window = heaterWindow_ohm(equipment, name, 0)
  if (window === null) return [unknownRail(name, rail, 'no heater chain of the file hangs on it')]
  const amps = Object.values(equipment.heater_chains).filter((chain) => chain.rail === name).length
  return [
    reading('Ω', {
      item: `${name} forward`,
      group: 'rails',
      what: `${rail.positive} to ${rail.negative}, all heaters in parallel, every tube in its socket`,
      low: window.low_ohm,
      high: window.cold_high_ohm,
      usual: window.cold_ohm,
      because: 'all heaters cold. Higher, one is open; lower, one or the wiring is shorted',
      source: 'cold to hot 1 : 2.7 to 1 : 7.2, published inrush measured on many types',
      // Every chain carries more than a tenth of this.
      ...ohmsBy(window.cold_ohm, amps),
      must: true,
      rails: [name],
    }),
  ]
}

function unknownRail(name: RailName, rail: Rail, why: string): ColdCheck {
  return reading('Ω', {
    item: `${name} forward`,
    group: 'rails',
    what: `${rail.positive} to ${rail.negative}`,
    because: `${why}, so nothing can be expected; the reading is kept to be held against later ones`,
    source: ours,
    method: 'Ohmmeter; take off what it shows with its leads joined.',
    meter: 'ohmmeter',
    must: true,
    rails: [name],
  })
}

function otherRail(
  equipment: Equipment,
  name: RailName,
  rail: Rail,
  mode: string,
  ohms: ColdOhms,
): ColdCheck[] {
  const window = windowOf(equipment, name, rail, mode, ohms)
  const F = capacitance(equipment, name, rail)
  const wait_s = Math.ceil(5 * F * Math.min(ohmmeter_ohm, window.usual ?? ohmmeter_ohm))
  const settles =
    F > 0
      ? ` Wait until it stands still: ${formatShort(F, 'F')} charge through the meter, ${formatShort(Math.max(1, wait_s), 's')} or so.`
      : ''
  const one = (item: string, more: Partial<ColdCheck> & Pick<ColdCheck, 'what' | 'because' | 'source'>) =>
    reading('Ω', {
      item,
      group: 'rails',
      rails: [name],
      low: window.low,
      high: window.high,
      usual: window.usual,
      method: `Set off, unplugged and discharged. Ohmmeter.${settles}`,
      meter: 'ohmmeter; the lead that is positive on ohms is the black one on many needle meters',
      ...more,
    })
  const checks = [
    one(`${name} forward`, {
      what: `${rail.positive} (positive lead) to ${rail.negative}, tubes in their sockets, capacitors charged through the meter`,
      because: window.because,
      source: window.source,
      must: true,
    }),
    one(`${name} reversed`, {
      what: `${rail.negative} (positive lead) to ${rail.positive}: the leads exchanged`,
      low: window.low / 2,
      because:
        'electrolytics leak more the wrong way round, and up to half is theirs; less, and something conducts one way only: a rectifier left in circuit, or an electrolytic fitted the wrong way round',
      source: practice,
    }),
  ]
  if (F > 0)
    checks.push(
      look({
        item: `${name} charges`,
        group: 'rails',
        what: `with the meter's leads just clipped on, ${name} reads low and climbs`,
        because: `${formatShort(F, 'F')} charge through the meter; a reading that stands still at once means that they are open, dried out or not joined`,
        source: practice,
        method: 'Discharge, clip the ohmmeter on, watch the first seconds. Answer good when it climbs.',
        rails: [name],
      }),
    )
  if (rail.polarity === 'floating') {
    const loose = ohms.between(rail.negative, equipment.chassis_node)
    checks.push(
      reading('Ω', {
        item: `${name} negative to chassis`,
        group: 'rails',
        what: `${rail.negative} to ${equipment.chassis_node}`,
        low: (loose?.low ?? nothing_ohm) * (1 - leak),
        high: loose?.high ?? null,
        usual: loose?.usual ?? null,
        because:
          loose === null ? 'nothing of the file joins them' : 'what the file has between them, tubes cold',
        source: loose === null ? ours : 'computed from the set file',
        method: `Set off, unplugged and discharged. Ohmmeter.${settles}`,
        meter: 'ohmmeter',
        rails: [name],
      }),
    )
  }
  return checks
}

function windowOf(equipment: Equipment, name: RailName, rail: Rail, mode: string, ohms: ColdOhms): Window {
  if (equipment.level === 3) {
    const found = ohms.between(rail.positive, rail.negative)
    if (found === null)
      return {
        ...{ low: nothing_ohm, high: null, usual: null },
        because:
          'nothing of the file conducts between them with the tubes cold, so it climbs beyond 100 kΩ; an electrolytic that leaks more is formed first, a short is found first',
        source: `${practice}: rises as the electrolytics charge, above 100 kΩ without a bleeder`,
      }
    return {
      low: found.low * (1 - leak),
      high: found.high,
      usual: found.usual,
      because: `bleeders and dividers of the file at their tolerances, tubes cold; electrolytics that have stood long may take a fifth more. Lower: a short, or an electrolytic to be formed first. Higher: a resistor is open`,
      source: `computed from the set file; the fifth is ${ours}`,
    }
  }
  const chart: ColdReading | null = railOhm(equipment, name, mode)
  if (chart !== null)
    return {
      low: chart.low_ohm * (1 - leak),
      high: chart.high_ohm,
      usual: chart.ohm,
      because:
        "the handbook's resistance chart within its tolerance; electrolytics that have stood long may take a fifth more",
      source: chart.source,
    }
  const totals = Object.values(rail.totals).map(({ at_V, current_A }) => at_V / current_A)
  const low = Math.min(shortBelow_ohm, ...totals.filter((ohm) => ohm > 0))
  return {
    ...{ low, high: null, usual: null },
    because: `the file does not say what is there; less would take more with cold tubes than ${totals.length > 0 ? 'the whole set should with hot ones' : 'anything short of a fault'}, and open is good`,
    source:
      totals.length > 0
        ? "computed from the handbook's total"
        : `${practice}: under about 10 kΩ look for a short`,
  }
}

/** What hangs right across a rail, F. */
function capacitance(equipment: Equipment, name: RailName, rail: Rail): number {
  const on = Object.values(equipment.rail_capacitors).filter((each) => each.rail === name)
  const joined = Object.values(equipment.parts).flatMap((part) =>
    part.kind === 'capacitor' && part.dielectric === 'electrolytic' && ends(part.between, rail) ? [part] : [],
  )
  return [...on, ...joined].reduce((sum, { F }) => sum + F, 0)
}

const ends = (between: readonly [NodeName, NodeName], { positive, negative }: Rail): boolean =>
  between.includes(positive) && between.includes(negative)
