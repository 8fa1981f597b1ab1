import type { Chance } from '../chance/index.js'
import { type Equipment, isStandIn, type Part, recordOf, type Tube } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import { type Astray, bandAmps, type Driven, type ModelBand, type RegulatorModel } from '../tubes/index.js'

/**
 * Spread of good tubes about their type: 0.66..1.33 of published taken as the 5 % and 95 % points [S27, Radiotron Designer's
 * Handbook 4th ed. as cited]. The window lies evenly about published values, so a tube's median is put there: the log-normal
 * then reaches from 0.70 to 1.42. Centred on the window's own middle in logarithms, 0.94, it would reach 0.66 exactly, and ask
 * and trip of the demo's HT would each lie 1 % lower, less than a tenth of their room. Each tube draws for itself: all of
 * them high together is no band, on a shared rail it would hide a missing one.
 */
const tubeSpread = (Math.log(1.33) - Math.log(0.66)) / 2 / 1.6449
export const tubeSource =
  'tubes spread 0.66 to 1.33 about their type (second-hand from Radiotron Designer’s Handbook, 4th ed.); resistors as the set file states, older ones up to 50 % high (common practice, no source); electrolytics leak up to the limit for new ones (JAN-C-62)'

/**
 * Old carbon composition drifts high, up to +50 % (common practice, no source). How far is a matter of where the whole set
 * stood, so each sampled set draws its own age first: the band holds both the dry loft and the damp boathouse.
 */
const drift = 0.5

/** Striking volts of a gas regulator vary (typically 20 to 30 V above operating): standard deviation, our choice. */
export const strikeSpread = 0.03
/**
 * So do the volts it holds: sheets of the 0A2 allow 140 to 168 V (from memory), taken as three standard deviations each way.
 * A tube that strikes high holds high; how far the one tells the other is our choice.
 */
const holdSpread = 0.03
const holdByStrike = 0.8

/**
 * The elements of one sampled set: every part drawn from its own named generator, so that a part added to a file moves no
 * other part's draw. Elements of kinds that carry no spread are left out.
 */
export function sampleElements(
  equipment: Equipment,
  elements: readonly Element[],
  chance: Chance,
): Element[] {
  const changed: Element[] = []
  const age = chance.fork('age of the set').next()
  for (const element of elements) {
    const owner = ownerOf(equipment, element.name)
    if (owner === null) continue
    const own = chance.fork(element.name)
    switch (element.kind) {
      case 'triode':
      case 'screen tube':
      case 'diode tube': {
        const tube = equipment.tubes[owner]
        if (tube === undefined) break
        if (isStandIn(tube, element)) {
          // No curve tells this one: anything from nothing to what its ratings allow.
          changed.push({ ...element, emission: element.emission * 2 * own.next() })
          break
        }
        const more = Math.exp(spreadOf(tube, element) * own.normal())
        const emission = element.emission * more
        if (element.kind === 'diode tube') changed.push({ ...element, emission })
        // Radio frequency draws what it is tuned and loaded for, wherever the curves end.
        else if (element.driven?.by === 'RF')
          changed.push({ ...element, emission, driven: sampleDriven(element.driven, own, more) })
        else {
          const driven = element.driven && sampleDriven(element.driven, own, more)
          const astray = sampleAstray(bandOf(tube, element.name), own.fork('near cut-off'))
          changed.push({ ...element, emission, astray, ...(driven !== undefined && { driven }) })
        }
        break
      }
      case 'resistor': {
        const part = equipment.parts[owner]
        if (part === undefined) break
        changed.push({ ...element, ohm: element.ohm * resistorFactor(part, own, age) })
        break
      }
      case 'regulator': {
        changed.push({ ...element, model: sampleGas(element.model, own) })
        break
      }
      case 'capacitor': {
        const part = equipment.parts[owner]
        if (part?.kind !== 'capacitor' || part.dielectric !== 'electrolytic') break
        const leak_S = (own.next() * periodLeakage_A(part.F, part.rated_V)) / part.rated_V
        changed.push({ ...element, leak_S: element.leak_S + leak_S })
        break
      }
      case 'inductor':
      case 'supply':
      case 'contact':
      case 'meter':
      case 'junction':
      case 'heater':
        break
    }
  }
  return changed
}

/** The 95 % point of a normal distribution. */
export const high = 1.6449

/** How far this tube stands off its curves where they end: the amps of its model's band taken as 5 % and 95 % points. */
function sampleAstray(band: ModelBand | null, own: Chance): Astray | undefined {
  return band === null || !(band.plus_A > 0)
    ? undefined
    : { A: (band.plus_A / high) * own.normal(), from_V: band.plus_from_V }
}

function sampleGas(model: RegulatorModel, own: Chance): RegulatorModel {
  const strikes = own.normal()
  const rest = Math.sqrt(1 - holdByStrike * holdByStrike)
  const holds = 1 + holdSpread * (holdByStrike * strikes + rest * own.fork('holding').normal())
  const operating_V = model.operating_V * holds
  return {
    ...model,
    operating_V,
    extinction_V: model.extinction_V * holds,
    // Nothing strikes below the volts that it then holds.
    strike_V: Math.max(operating_V, model.strike_V * (1 + strikeSpread * strikes)),
  }
}

/** Standard deviation of the logarithm of a driven stage's plate current. */
const drivenSpread = 0.11

/**
 * A driven stage draws what it is tuned, loaded and driven for, not what its cathode could: ±20 % in plate, ±35 % in screen
 * and grid as 5 % and 95 % points, and some spread of the law of plate volts. Our choice, for a stage loaded as its figures
 * say: published rows of one type, each loaded for its own rating, lie 20 % apart at the median (tests/outside/driven.test.ts).
 */
function sampleDriven(driven: Driven, own: Chance, emission: number): Driven {
  // Scaled by emission in the network; tuned to a meter by a person, radio frequency is not.
  const own_part = driven.by === 'RF' ? 1 / emission : 1
  return {
    ...driven,
    plate: own_part * driven.plate * Math.exp(drivenSpread * own.normal()),
    screen: own_part * driven.screen * Math.exp(0.18 * own.normal()),
    grid: own_part * driven.grid * Math.exp(0.18 * own.normal()),
    bend: driven.bend + 0.15 * own.normal(),
  }
}

/** A tube's elements at the 95 % point of its spread; sections draw for themselves, so that all of them together spread less. */
export function strongest(equipment: Equipment, part: string, own: readonly Element[]): Element[] {
  const tube = equipment.tubes[part]
  const valves = own.filter(isValve)
  if (tube === undefined) return []
  // A gas tube that holds its volts low has more dropped before it.
  const gas = own.flatMap((element) => {
    if (element.kind !== 'regulator') return []
    const { model } = element
    const holds = 1 - high * holdSpread
    const [operating_V, extinction_V] = [model.operating_V * holds, model.extinction_V * holds]
    return [{ ...element, model: { ...model, operating_V, extinction_V } }]
  })
  const spread = valves.map((element) => {
    if (isStandIn(tube, element)) return { ...element, emission: element.emission * (1 + 2 * 0.45) }
    if (element.kind !== 'diode tube' && element.driven !== undefined) {
      const { driven } = element
      return { ...element, driven: { ...driven, plate: driven.plate * Math.exp(high * drivenSpread) } }
    }
    const more = Math.exp((high * spreadOf(tube, element)) / Math.sqrt(valves.length))
    return { ...element, emission: element.emission * more }
  })
  return [...spread, ...gas]
}

/** How far one element may stand off its curves where they end, by the amps of its model's band at these plate volts; 0 where none are drawn. */
export function astray_A(equipment: Equipment, element: Element, plate_V: number): number {
  const tube = equipment.tubes[ownerOf(equipment, element.name) ?? '']
  const curved = element.kind === 'triode' || element.kind === 'screen tube'
  if (tube === undefined || !curved || element.driven?.by === 'RF') return 0
  const band = bandOf(tube, element.name)
  return band === null ? 0 : bandAmps(band, plate_V)
}

/** A tube's elements as far above their curves where these end as all but the worst twentieth. */
export function mostAstray(equipment: Equipment, part: string, own: readonly Element[]): Element[] {
  const tube = equipment.tubes[part]
  const valves = own.filter((element) => element.kind === 'triode' || element.kind === 'screen tube')
  if (tube === undefined) return []
  return valves.flatMap((element) => {
    const band = element.driven?.by === 'RF' ? null : bandOf(tube, element.name)
    if (band === null || !(band.plus_A > 0)) return []
    return [{ ...element, astray: { A: band.plus_A / Math.sqrt(valves.length), from_V: band.plus_from_V } }]
  })
}

/** Half of what lies between the 5 % and 95 % points of a sum of even draws from nothing to each of these, of their whole sum. */
export function halfOfEven(most: readonly number[]): number {
  const whole = most.reduce((sum, each) => sum + each, 0)
  const squares = most.reduce((sum, each) => sum + each * each, 0)
  return whole > 0 ? (0.95 * Math.sqrt(squares)) / (2 * whole) : 0
}

/** Every electrolytic at the most that a new one was allowed to leak. */
export function leakiest(equipment: Equipment, elements: readonly Element[]): Element[] {
  return elements.flatMap((element) => {
    if (element.kind !== 'capacitor') return []
    const part = equipment.parts[ownerOf(equipment, element.name) ?? '']
    if (part?.kind !== 'capacitor' || part.dielectric !== 'electrolytic') return []
    return [{ ...element, leak_S: element.leak_S + periodLeakage_A(part.F, part.rated_V) / part.rated_V }]
  })
}

type Valve = Extract<Element, { readonly kind: 'triode' | 'screen tube' | 'diode tube' }>
function isValve(element: Element): element is Valve {
  return element.kind === 'triode' || element.kind === 'screen tube' || element.kind === 'diode tube'
}

/** Standard deviation of the logarithm of what a good tube draws: its own spread and the error of its curves. */
function spreadOf(tube: Tube, element: Element): number {
  return Math.sqrt(tubeSpread * tubeSpread + modelSpread(tube, element.name))
}

/** Leakage a new electrolytic was allowed at rated volts after 5 min: JAN-C-62, I(mA) = K·C(µF) + 0.3. */
export function periodLeakage_A(F: number, rated_V: number): number {
  const K = rated_V <= 100 ? 0.01 : rated_V <= 250 ? 0.02 : rated_V <= 350 ? 0.025 : 0.04
  return 1e-3 * (K * F * 1e6 + 0.3)
}

function resistorFactor(
  part: Part | { readonly kind: 'heater resistor'; readonly tolerance: number },
  own: Chance,
  age: number,
): number {
  if (part.kind === 'resistor') {
    const made = 1 + part.tolerance * (2 * own.next() - 1)
    if (part.make !== 'carbon composition') return made
    const u = own.next()
    return made * (1 + age * drift * u)
  }
  if (part.kind === 'potentiometer' || part.kind === 'heater resistor')
    return 1 + part.tolerance * (2 * own.next() - 1)
  return 1
}

/** Variance of the logarithm that the model's own error adds: its band taken as 5 % and 95 % points. */
function modelSpread(tube: Tube, elementName: string): number {
  const band = bandOf(tube, elementName)
  if (band === null || !(band.low > 0) || !(band.high > band.low)) return 0
  const sigma = Math.log(band.high / band.low) / 2 / 1.6449
  return sigma * sigma
}

/** Model band of the widest section of a type: a tube element does not say which of its sections it is. */
function bandOf(tube: Tube, elementName: string): ModelBand | null {
  const found = recordOf(tube)
  if (found === null) return null
  const bands = found.sections.map((section) => section.band)
  const numbered = bands[sectionNumber(elementName)]
  return numbered ?? bands[0] ?? null
}

/** Counts from 0: the number that a section's element ends in. */
export function sectionNumber(elementName: string): number {
  const digits = /[^A-Za-z0-9](\d+)$/.exec(elementName)?.[1]
  return digits === undefined ? 0 : Math.max(0, Number(digits) - 1)
}

/** Which section of its tube an element is, or stands for the screen of, from 0. */
export function sectionOf(tube: Tube | undefined, elementName: string): number {
  return (tube?.sections.length ?? 0) > 1 ? sectionNumber(elementName.replace(/ screen$/, '')) : 0
}

/** Part or tube of the file that an element of the network comes from (`V3.2` is part of V3); null for leads, meters, bleeders. */
export function ownerOf(equipment: Equipment, elementName: string): string | null {
  let name = elementName
  for (;;) {
    if (equipment.parts[name] !== undefined || equipment.tubes[name] !== undefined) return name
    const cut = Math.max(...['.', ' ', '/', ':', '#'].map((mark) => name.lastIndexOf(mark)))
    if (cut <= 0) return null
    name = name.slice(0, cut)
  }
}
