import type { Chance } from '../chance/index.js'
import { type Equipment, isStandIn, type Part, recordOf, type Tube } from '../equipment/index.js'
import type { Element } from '../network/index.js'
import type { Driven, ModelBand } from '../tubes/index.js'

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
        const spread = Math.sqrt(tubeSpread * tubeSpread + modelSpread(tube, element.name))
        const more = Math.exp(spread * own.normal())
        const emission = element.emission * more
        if (element.kind !== 'diode tube' && element.driven !== undefined)
          changed.push({ ...element, emission, driven: sampleDriven(element.driven, own, more) })
        else changed.push({ ...element, emission })
        break
      }
      case 'resistor': {
        const part = equipment.parts[owner]
        if (part === undefined) break
        changed.push({ ...element, ohm: element.ohm * resistorFactor(part, own, age) })
        break
      }
      case 'regulator': {
        const strike_V = element.model.strike_V * (1 + strikeSpread * own.normal())
        changed.push({ ...element, model: { ...element.model, strike_V } })
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
    plate: own_part * driven.plate * Math.exp(0.11 * own.normal()),
    screen: own_part * driven.screen * Math.exp(0.18 * own.normal()),
    grid: own_part * driven.grid * Math.exp(0.18 * own.normal()),
    bend: driven.bend + 0.15 * own.normal(),
  }
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
