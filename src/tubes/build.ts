import { type TypeData, typeShape, type VariantData, variantShape } from './data-shape.js'
import { type Fitted, fitSection, usable } from './fit.js'
import { kindOf, pointsOf } from './rows.js'
import type { Figure, MercuryRules, Ratings, SectionModel, TubeRecord } from './types.js'
import { bandOf, toldOf, type Unseen, unseenRows } from './unseen.js'

export { bandOf, keptBack } from './unseen.js'

/*
 * From the readable files of `data/` to the catalogue: parameters fitted by `fits`, records joined by `records`.
 * Used by the scripts that write fits.json and catalogue.generated.ts, and by the tests that hold them true.
 */

/** One section's fit: its parameters, and how far rows lay that a fit had not seen. */
interface SectionFit {
  readonly model: SectionModel | null
  readonly unseen: readonly Unseen[]
}
export type Fits = Readonly<Record<string, readonly SectionFit[]>>

interface Data {
  readonly types: readonly TypeData[]
  readonly variants: readonly VariantData[]
}

/** Reads raw data files; every problem names its file and place. */
export function readData(files: readonly { readonly name: string; readonly raw: unknown }[]): {
  readonly data: Data
  readonly problems: readonly string[]
} {
  const types: TypeData[] = []
  const variants: VariantData[] = []
  const problems: string[] = []
  for (const { name, raw } of files) {
    const isVariant = typeof raw === 'object' && raw !== null && 'as' in raw
    const read = isVariant ? variantShape.safeParse(raw) : typeShape.safeParse(raw)
    if (!read.success) {
      for (const issue of read.error.issues)
        problems.push(`${name}: ${issue.path.join('.')}: ${issue.message}`)
    } else if ('as' in read.data) variants.push(read.data)
    else types.push(read.data)
  }
  const known = new Set(types.map((t) => t.type))
  for (const { type, sections } of types)
    for (const { like } of sections)
      if (like !== undefined && !known.has(like)) problems.push(`${type}: like: there is no type ${like}`)
  for (const variant of variants) {
    if (!known.has(variant.as)) problems.push(`${variant.type}: as: there is no type ${variant.as}`)
  }
  return { data: { types, variants }, problems }
}

export function fits(data: Data): Fits {
  return Object.fromEntries(
    data.types.map((type) => [
      type.type,
      type.sections.map((_, i) => {
        const other = likeOf(data, type, i)
        return other === undefined ? fit(type, i) : fitLike(type, other, i)
      }),
    ]),
  )
}

/** The type whose rows tell this one's curves, where a section names one. */
function likeOf(data: Data, type: TypeData, section: number): TypeData | undefined {
  const name = type.sections[section]?.like
  return data.types.find((each) => each.type === name)
}

/**
 * The same filament otherwise connected: the same curves, the grid more negative by half of the additional filament volts,
 * since it works against the filament's middle on average.
 */
function fitLike(type: TypeData, other: TypeData, section: number): SectionFit {
  const { model } = fit(other, section)
  const own = kindOf(type, section)
  const kind = kindOf(other, section)
  if (own === null || kind === null || (model?.form !== 'triode' && model?.form !== 'screen'))
    return { model: null, unseen: [] }
  return {
    model: { ...model, Vct: round(model.Vct - (own.filament_V - kind.filament_V) / 2, 6) },
    unseen: [],
  }
}

function fit(type: TypeData, section: number): SectionFit {
  const points = pointsOf(type, section).filter((p) => p.doubtful === null)
  switch (type.sections[section]?.curves) {
    case 'triode':
    case 'screen': {
      const kind = kindOf(type, section)
      if (kind === null) return { model: null, unseen: [] }
      const used = points.filter(usable)
      const model = fitSection(used, kind)
      return {
        model: model === null ? null : rounded(model),
        unseen: unseenRows(used, kind),
      }
    }
    case 'diode': {
      const rows = points.flatMap(({ plate_V, plate_A, confidence }) =>
        plate_A === null
          ? []
          : [{ plate_A, confidence, log: Math.log(plate_A / (plate_V * Math.sqrt(plate_V))) }],
      )
      if (rows.length === 0) return { model: null, unseen: [] }
      const middle = rows.reduce((sum, { log }) => sum + log, 0) / rows.length
      // Each against the middle of the others: n / (n − 1) times as far as from one that holds the row itself.
      const others = rows.length / (rows.length - 1)
      const apart = rows.map(({ plate_A, confidence, log }) => ({
        at: 'drop' as const,
        confidence,
        ratio: round(Math.exp(others * (log - middle)), 4),
        plate_A,
      }))
      return {
        model: { form: 'diode', K: round(Math.exp(middle), 6) },
        unseen: rows.length > 1 ? apart : [],
      }
    }
    case 'arc': {
      const point = points.find((p) => p.plate_A !== null)
      if (point?.plate_A == null) return { model: null, unseen: [] }
      // Steep enough that the drop is nearly constant: 0.4 V below its published value at no current.
      const rise_V = 0.4
      return {
        model: {
          form: 'diode',
          K: round(point.plate_A / (rise_V * Math.sqrt(rise_V)), 6),
          drop_V: round(point.plate_V - rise_V, 6),
        },
        unseen: [],
      }
    }
    case 'regulator':
      if (type.regulator === undefined) return { model: null, unseen: [] }
      return {
        model: {
          form: 'regulator',
          operating_V: type.regulator.operating_V.value,
          strike_V: type.regulator.strike_V.value,
          strike_most_V: type.regulator.strike_most_V.value,
          extinction_V: type.regulator.extinction_V.value,
          slope_ohm: type.regulator.slope_ohm.value,
          min_A: type.regulator.min_A.value,
          max_A: type.regulator.max_A.value,
        },
        unseen: [],
      }
    case 'none':
    case undefined:
      return { model: null, unseen: [] }
  }
}

const defaultWarmUp = {
  indirect: 30,
  direct: 10,
  cold: 0,
}

export function records(data: Data, fitted: Fits): readonly TubeRecord[] {
  const byType = new Map(data.types.map((type) => [type.type, record(data, type, fitted[type.type] ?? [])]))
  const others = data.variants.flatMap((variant) => {
    const parent = byType.get(variant.as)
    return parent === undefined
      ? []
      : [
          {
            ...parent,
            type: variant.type,
            aliases: variant.aliases,
            aliases_source: variant.aliases_source ?? parent.aliases_source,
            heater: variant.heater,
          },
        ]
  })
  return [...byType.values(), ...others].sort((a, b) => (a.type < b.type ? -1 : 1))
}

/** The class rules of mercury-vapour rectifiers, for a type whose own sheet says nothing of them. */
const ofMercury = {
  warm_up_s: {
    value: 30,
    source:
      'from memory: a web page on mercury-vapour rectifiers as a class (hifitubes.nl): 30 s at each start',
    confidence: 'from memory',
  },
  first_use_s: {
    value: 1800,
    source:
      'from memory: a web page on mercury-vapour rectifiers as a class (hifitubes.nl): filament alone for 30 min when first used and each time the mercury was disturbed',
    confidence: 'from memory',
  },
  condensed_low_C: { value: 20, source: 'from memory: mercury rectifier sheets', confidence: 'from memory' },
  condensed_high_C: { value: 60, source: 'from memory: mercury rectifier sheets', confidence: 'from memory' },
} as const

function warmUp(type: TypeData): Figure {
  if (type.warm_up_s !== undefined) return type.warm_up_s
  if (type.kind === 'rectifier-mercury') return ofMercury.warm_up_s
  return {
    value: defaultWarmUp[type.cathode],
    source: `default for ${type.cathode === 'cold' ? 'a cold cathode' : `${type.cathode}ly heated types`} (common practice, no source)`,
    confidence: 'from memory',
  }
}

function mercuryRules(type: TypeData): MercuryRules | undefined {
  if (type.kind !== 'rectifier-mercury') return undefined
  if (type.mercury !== undefined) return type.mercury
  const { first_use_s, condensed_low_C, condensed_high_C } = ofMercury
  return { first_use_s, condensed_low_C, condensed_high_C }
}

function record(data: Data, type: TypeData, fitted: readonly SectionFit[]): TubeRecord {
  const warm_up_s = warmUp(type)
  const mercury = mercuryRules(type)
  const amplifies = type.sections.some(({ curves }) => curves === 'triode' || curves === 'screen')
  return {
    type: type.type,
    aliases: type.aliases,
    ...(type.aliases_source !== undefined && { aliases_source: type.aliases_source }),
    kind: type.kind,
    cathode: type.cathode,
    ...(type.cathode === 'direct' &&
      amplifies && {
        filament_reference: type.volts_against === 'negative filament end' ? 'negative end' : 'middle',
      }),
    heater: type.heater,
    warm_up_s,
    rating_system: type.rating_system.system,
    rating_source: type.rating_system.source,
    rating_confidence: type.rating_system.confidence,
    max: known(type.max),
    sections: type.sections.map((section, i) => ({
      name: section.name,
      model: fitted[i]?.model ?? null,
      band: bandOf(likeOf(data, type, i) ?? type, i, fitted[i]?.unseen ?? []),
      told: toldOf(likeOf(data, type, i) ?? type, i, fitted[i]?.unseen ?? []),
      ...(section.like !== undefined && { like: section.like }),
      ...(section.why !== undefined && { why: section.why }),
      ...(section.max !== undefined && { max: known(section.max) }),
    })),
    points: type.points,
    service: type.service,
    ...(type.regulator !== undefined && { regulator: type.regulator }),
    ...(type.barretter !== undefined && { barretter: type.barretter }),
    ...(mercury !== undefined && { mercury }),
    notes: type.notes,
  }
}

function known(max: TypeData['max']): Ratings {
  return Object.fromEntries(Object.entries(max).filter(([, figure]) => figure !== undefined))
}

function rounded(model: Fitted): Fitted {
  const { K, x, mu, kr, Vct } = model
  const shared = {
    K: round(K, 6),
    x: round(x, 6),
    mu: round(mu, 6),
    kr: round(kr, 6),
    Vct: round(Vct, 6),
  }
  if (model.form === 'triode') return { form: 'triode', ...shared }
  const { Vk, Va, r, n } = model
  return {
    form: 'screen',
    ...shared,
    Vk: round(Vk, 6),
    Va: round(Va, 6),
    r: round(r, 6),
    n: round(n, 6),
  }
}
/** To `digits` significant digits. */
function round(value: number, digits: number): number {
  return Number(value.toPrecision(digits))
}
