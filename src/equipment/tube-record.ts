import { defineTube, type TubeRecord } from '../tubes/index.js'
import type { WrittenTubeType } from './tube-types.js'

/* A type that the set's file defines, as the tube room wants it: fitted on the spot where its file gives operating points. */

type Kind = WrittenTubeType['kind']
type Point = WrittenTubeType['points'][number]
type Curves = 'triode' | 'screen' | 'diode' | 'arc' | 'regulator' | 'none'
interface System {
  readonly name: string
  readonly curves: Curves
}

const screened = (name: string): System => ({ name, curves: 'screen' })
const triode: System = { name: 'triode', curves: 'triode' }
/** Detector diodes beside an amplifier draw nothing from a rail. */
const detector = (name: string): System => ({ name, curves: 'none' })

/** What stands in one bulb, in the order in which a set's file gives its sections. */
const systems: Readonly<Record<Kind, readonly System[]>> = {
  triode: [triode],
  'twin-triode': [triode, triode],
  pentode: [screened('pentode')],
  'beam-tetrode': [screened('tetrode')],
  heptode: [screened('heptode')],
  'triode-hexode': [screened('hexode'), triode],
  'triode-heptode': [screened('heptode'), triode],
  'triode-pentode': [screened('pentode'), triode],
  'twin-diode-triode': [triode, detector('diode 1'), detector('diode 2')],
  'diode-triode': [triode, detector('diode')],
  'diode-pentode': [screened('pentode'), detector('diode')],
  diode: [{ name: 'diode', curves: 'diode' }],
  indicator: [triode, { name: 'target', curves: 'diode' }],
  'rectifier-vacuum': [{ name: 'diode', curves: 'diode' }],
  'rectifier-mercury': [{ name: 'arc', curves: 'arc' }],
  'regulator-gas': [{ name: 'gap', curves: 'regulator' }],
  lamp: [],
  barretter: [{ name: 'wire', curves: 'none' }],
}
const oscillatorAnode: System = { name: 'oscillator anode', curves: 'diode' }

/** The record, or what its figures lack to make sense together. */
export function toRecord(
  type: string,
  written: WrittenTubeType,
): { readonly record: TubeRecord | null; readonly problems: readonly string[] } {
  const sections = sectionsOf(written)
  const problem = lacking(written, sections)
  if (problem !== null) return { record: null, problems: [problem] }
  const { kind, max, regulator, barretter, source } = written
  const figure = (value: number | undefined) =>
    value === undefined ? undefined : { value, source, confidence: 'owner' as const }
  const rated = (of: Partial<typeof max>) => ({
    plate_V: figure(of.plate),
    plate_W: figure(of.plate_dissipation),
    screen_V: figure(of.screen),
    screen_W: figure(of.screen_dissipation),
    cathode_A: figure(of.cathode_current),
    heater_cathode_V: figure(of.heater_cathode),
    peak_inverse_V: figure(of.peak_inverse),
    dc_output_A: figure(of.output_current),
    regulator_A: figure(of.regulator_current),
  })
  const drawn = sections.map((_, i) => pointsOf(written, sections, i).length > 0)
  const made = defineTube({
    type,
    aliases: [],
    kind,
    cathode: cathodeOf(written),
    volts_against: written.volts_against,
    cut_off: written.cut_off,
    sections: sections.map(({ name, curves }, i) => {
      const own = written.max_of[name]
      return {
        name,
        ...(drawn[i] === true || curves === 'regulator' || curves === 'none'
          ? { curves }
          : { curves: 'none', why: `the set’s file gives no operating point of its ${name}` }),
        ...(own !== undefined && { max: rated(own) }),
      }
    }),
    heater:
      written.heater === undefined
        ? null
        : { volts: figure(written.heater.volts), amps: figure(written.heater.current) },
    warm_up_s: kind === 'lamp' && written.warm_up === undefined ? ofLamp : figure(written.warm_up),
    rating_system: { system: written.rating_system, source, confidence: 'owner' },
    max: rated(max),
    points: written.points.map((point) => toPoint(point, written, sections)),
    service: [],
    ...(regulator !== undefined && {
      regulator: {
        operating_V: figure(regulator.operating),
        strike_V: figure(regulator.strikes),
        strike_most_V: figure(regulator.strikes_at_most),
        extinction_V: figure(regulator.goes_out),
        slope_ohm: figure(regulator.regulation / (regulator.most - regulator.least)),
        min_A: figure(regulator.least),
        max_A: figure(regulator.most),
      },
    }),
    ...(barretter !== undefined && {
      barretter: {
        amps: figure(barretter.current),
        least_V: figure(barretter.from),
        most_V: figure(barretter.to),
      },
    }),
  })
  const bad = made.record?.sections.find(
    ({ model }, i) =>
      drawn[i] === true &&
      (model === null || Object.values(model).some((each) => each === null || Number.isNaN(each))),
  )
  return bad === undefined
    ? made
    : {
        record: null,
        problems: [`no curves fit the operating points of its ${bad.name}: check their figures`],
      }
}

const ofLamp = {
  value: 1,
  source: 'a lamp is bright within a second (common practice, no source)',
  confidence: 'from memory',
} as const

function cathodeOf({ kind, cathode }: WrittenTubeType): WrittenTubeType['cathode'] {
  if (kind === 'lamp') return 'direct'
  return kind === 'regulator-gas' || kind === 'barretter' ? 'cold' : cathode
}

function sectionsOf({ kind, sections: count, points, max_of }: WrittenTubeType): readonly System[] {
  const usual = systems[kind]
  if (kind === 'heptode') {
    // Some pentagrids have an anode for their oscillator, others use their screen for it.
    const own = points.some(({ section }) => section === oscillatorAnode.name)
    if (own || Object.hasOwn(max_of, oscillatorAnode.name)) return [...usual, oscillatorAnode]
  }
  const [first] = usual
  if (first === undefined || usual.some(({ name }) => name !== first.name)) return usual
  const many = count ?? usual.length
  return many === 1
    ? [first]
    : Array.from({ length: many }, (_, i) => ({ ...first, name: `${first.name} ${i + 1}` }))
}

/** Which of the sections a point is of; those that are equal share their points. */
function placeOf({ section }: Point, sections: readonly System[]): number {
  return section === undefined ? 0 : sections.findIndex(({ name }) => name.replace(/ \d$/, '') === section)
}

/** A section without points of its own has those of the first with the same curves, as in the catalogue. */
function pointsOf({ points }: WrittenTubeType, sections: readonly System[], index: number): readonly Point[] {
  const like = sections.findIndex(({ curves }) => curves === sections[index]?.curves)
  return points.filter((point) => [index, like].includes(placeOf(point, sections)))
}

function toPoint(point: Point, { kind, source }: WrittenTubeType, sections: readonly System[]) {
  const section = placeOf(point, sections)
  const { curves, name } = sections[section] ?? { curves: 'none', name: kind }
  return {
    // The drop of a diode is no current that it takes from a rail; a target or an oscillator's anode takes its own.
    class:
      name === 'target' || name === oscillatorAnode.name
        ? name
        : curves === 'diode' || curves === 'arc'
          ? 'voltage drop'
          : point.class === 'idle'
            ? 'idle'
            : 'class A1 characteristics',
    section,
    plate_V: point.plate,
    screen_V: point.screen ?? null,
    grid_V: point.grid ?? null,
    cathode_ohm: point.cathode_resistor ?? null,
    plate_A: point.plate_current,
    screen_A: point.screen_current ?? null,
    gm_S: point.transconductance ?? null,
    rp_ohm: point.plate_resistance ?? null,
    mu: point.mu ?? null,
    mu_g1g2: point.screen_mu ?? null,
    source: point.source ?? source,
    confidence: 'owner',
  }
}

/** What the kind needs and the file does not give, or gives and the kind has not; null where it makes sense. */
function lacking(written: WrittenTubeType, sections: readonly System[]): string | null {
  const { kind, points, heater, cathode, volts_against, regulator, barretter, max_of } = written
  const words = kind.replaceAll('-', ' ')
  const none = ofNoUse(written, sections)
  if (none !== null) return none
  if (kind === 'regulator-gas') {
    if (regulator === undefined) return 'a gas regulator needs its volts and currents under regulator:'
    if (!(regulator.least < regulator.most)) return 'its least current is not below its most current'
    const { goes_out, operating, strikes, strikes_at_most } = regulator
    return goes_out < operating && operating < strikes && strikes <= strikes_at_most
      ? null
      : 'its volts must rise in this order: goes_out, operating, strikes, strikes_at_most'
  }
  if (kind === 'barretter') {
    if (barretter === undefined) return 'a barretter needs its current and its volts under barretter:'
    return barretter.from < barretter.to ? null : 'the volts it holds its current from are not below those to'
  }
  if (kind === 'lamp')
    return heater === undefined ? 'a lamp needs the volts and current of its filament under heater:' : null
  if (heater === undefined && cathode !== 'cold') return 'it has no heater: write one, or cathode: cold'
  const second = sections.slice(1).filter(({ name, curves }) => curves !== 'none' && !/\d$/.test(name))
  const strange = Object.keys(max_of).find((name) => !second.some((each) => each.name === name))
  if (strange !== undefined)
    return second.length === 0
      ? `this ${words} has no second system whose ratings could be written under max_of: write them under max`
      : `under max_of stands '${strange}', but the second system of this ${words} is its ${second.map(({ name }) => name).join(', ')}`
  for (const point of points) {
    const problem = pointProblem(point, words, sections)
    if (problem !== null) return problem
  }
  // Taken wrongly, its grid stands off by half of its filament's volts.
  const fitted = points.some((point) => ['triode', 'screen'].includes(curvesOf(point, sections) ?? ''))
  if (cathode === 'direct' && fitted && volts_against === undefined)
    return 'a directly heated type needs the point that its sheet gives volts against: write volts_against: negative filament end (battery types mostly) or middle of the filament'
  if (volts_against !== undefined && cathode !== 'direct')
    return 'volts_against is said of directly heated types: leave it out, or write cathode: direct'
  return null
}

/** What stands in the definition and means nothing for its kind: it was meant for another, or the kind is wrong. */
function ofNoUse(written: WrittenTubeType, sections: readonly System[]): string | null {
  const { kind, points, heater, regulator, barretter } = written
  const words = kind.replaceAll('-', ' ')
  if (regulator !== undefined && kind !== 'regulator-gas')
    return `regulator: is for a gas regulator, not a ${words}`
  if (barretter !== undefined && kind !== 'barretter') return `barretter: is for a barretter, not a ${words}`
  const bare = kind === 'lamp' || kind === 'barretter' || kind === 'regulator-gas'
  if (bare && points.length > 0) return `a ${words} has no operating points: leave them out`
  if (bare && kind !== 'lamp' && heater !== undefined) return `a ${words} has no heater: leave it out`
  const differ = sections.length > 1 && new Set(sections.map(({ curves }) => curves)).size > 1
  return written.sections !== undefined && (differ || sections.length === 0)
    ? `sections: counts equal sections, and those of this ${words} are known: leave it out`
    : null
}

function curvesOf(point: Point, sections: readonly System[]): Curves | undefined {
  return sections[placeOf(point, sections)]?.curves
}

function pointProblem(point: Point, words: string, sections: readonly System[]): string | null {
  const curves = curvesOf(point, sections)
  if (curves === undefined) {
    const has = sections.filter((each) => each.curves !== 'none').map(({ name }) => name)
    return `a point is of its ${point.section ?? ''}, but this ${words} has ${has.join(', ')}`
  }
  const of = point.section === undefined ? words : point.section
  if (curves === 'screen' && point.screen === undefined)
    return 'a point of a screen-grid type has no screen volts'
  if (curves !== 'screen' && point.screen !== undefined) return `a point of a ${of} has screen volts`
  const biased = point.grid !== undefined || point.cathode_resistor !== undefined
  const amplifies = curves === 'screen' || curves === 'triode'
  return amplifies && !biased && point.transconductance === undefined
    ? 'a point has neither grid volts nor a cathode resistor'
    : null
}
