import type { Equipment, HeaterChain, PartName } from '../equipment/index.js'
import { type HeaterElement, heaterElements, parallel_ohm } from '../limits/index.js'
import { formatShort } from '../quantities/index.js'
import { coldRatio } from '../tubes/index.js'
import { ohmsBy, practice, reading } from './check.js'
import type { ColdCheck } from './types.js'

const coldSource =
  'cold to hot 1 : 2.7 to 1 : 7.2, published inrush measured on many types; rated volts and amps of the type'

/** Each chain, and each heater by itself. */
export function heaterChecks(equipment: Equipment): ColdCheck[] {
  const chains = Object.entries(equipment.heater_chains)
  return [
    ...chains.flatMap(([name, chain]) => chainCheck(equipment, name, chain)),
    ...chains.flatMap(([, chain]) =>
      chain.series.flat().flatMap((part) => heaterCheck(equipment, part, chain)),
    ),
  ]
}

/** The ends are published extremes, and a usual lamp stands near one: only what all but leaves them is told. */
const between = (low: number, high: number) =>
  ({ low, high, near_low: 1.05 * low, near_high: 0.95 * high }) as const

/** One heater varies by 3 % (common practice, no source): nine of ten healthy ones stand within this of hot. */
const hotSpread = 0.05

/** What it reads once it is warm, as volts over amps of a run's heater step. */
const hotWords = (ohm: number): string =>
  `hot it is ${formatShort(ohm, 'Ω')}, ${formatShort((1 - hotSpread) * ohm, 'Ω')} to ${formatShort((1 + hotSpread) * ohm, 'Ω')} (volts over amps in a run's heater step; 5 % either way: ${practice})`

type Ratio = 'low' | 'typical' | 'high' | 'hot'

function ohmAt(element: HeaterElement, ratio: Ratio): number {
  if (element.kind === 'resistor') return element.ohm
  const hot = element.hot_V / element.hot_A
  return ratio === 'hot' ? hot : hot / coldRatio(element.cathode)[ratio]
}

function chainCheck(equipment: Equipment, name: string, chain: HeaterChain): ColdCheck[] {
  const groups = chain.series.map((group) => group.flatMap((part) => heaterElements(equipment, part)))
  // A place whose heater is not known, or pulled, leaves the chain open or unknown: there is nothing to expect.
  if (groups.some((group) => group.length === 0)) return []
  const ohm = (ratio: Ratio): number =>
    groups.reduce(
      (sum, group) => sum + (parallel_ohm(group.map((each) => ohmAt(each, ratio))) ?? 0),
      chain.lead_ohm,
    )
  const parts = chain.series.flat()
  const beside = Object.values(equipment.heater_chains).filter(({ rail }) => rail === chain.rail).length - 1
  const amps = Math.min(
    ...groups.map((group) => group.reduce((sum, { hot_A }) => sum + hot_A, 0)).filter((A) => A > 0),
  )
  const by = ohmsBy(ohm('typical'), amps)
  return [
    reading('Ω', {
      item: `chain ${name}`,
      group: 'heaters',
      what: `heater chain ${name} from end to end: ${chain.series.map((group) => group.join(' with ')).join(', ')}`,
      ...between(ohm('high'), ohm('low')),
      usual: ohm('typical'),
      because: `cold heaters; ${hotWords(ohm('hot'))}. Open, a heater in it is burnt out or a tube stands badly in its socket; lower, a heater or its wiring is shorted`,
      source: coldSource,
      ...by,
      method: `${
        beside === 0
          ? ''
          : `With one tube of each of the other ${beside} chain${beside === 1 ? '' : 's'} on ${chain.rail} pulled, or this chain's end lifted: they stand in parallel. `
      }${by.method}`,
      must: true,
      rails: [chain.rail],
      parts,
    }),
  ]
}

function heaterCheck(equipment: Equipment, part: PartName, { rail }: HeaterChain): ColdCheck[] {
  return heaterElements(equipment, part).flatMap((element) => {
    const usual = ohmAt(element, 'typical')
    if (element.kind === 'resistor') {
      const own = equipment.parts[part]
      const tolerance = own !== undefined && 'tolerance' in own ? own.tolerance : 0.1
      return [
        reading('Ω', {
          item: part,
          group: 'heaters',
          what: `${part} in its heater chain, one end lifted or the tubes beside it out`,
          low: usual * (1 - tolerance),
          high: usual * (1 + tolerance),
          usual,
          because: 'the tolerance that its chain is computed with',
          source: 'the set file',
          ...ohmsBy(usual, Infinity),
          rails: [rail],
          parts: [part],
        }),
      ]
    }
    return [
      reading('Ω', {
        item: `${part} heater`,
        group: 'heaters',
        what: `heater of ${part}${equipment.tubes[part] === undefined ? '' : ` (${equipment.tubes[part].written})`}, out of its socket, at its heater pins`,
        ...between(ohmAt(element, 'high'), ohmAt(element, 'low')),
        usual,
        because: `${formatShort(element.hot_V, 'V')}, ${formatShort(element.hot_A, 'A')} when hot: ${hotWords(ohmAt(element, 'hot'))}; cold it is several times lower`,
        source: `${element.source}; ${coldSource}`,
        ...ohmsBy(usual, element.hot_A),
        rails: [rail],
        parts: [part],
      }),
    ]
  })
}
