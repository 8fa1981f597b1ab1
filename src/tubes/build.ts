import { type TypeData, typeShape, type VariantData, variantShape } from './data-shape.js'
import { atPoint, type Fitted, fitSection, type Kind, usable } from './fit.js'
import type { Figure, ModelBand, OperatingPoint, SectionModel, TubeRecord } from './types.js'

/*
 * From the readable files of `data/` to the catalogue: parameters fitted by `fits`, records joined by `records`.
 * Used by the scripts that write fits.json and catalogue.generated.ts, and by the tests that hold them true.
 */

/** One section's fit: its parameters, and how far points lay that the fit had not seen (published over computed). */
interface SectionFit {
  readonly model: SectionModel | null
  readonly unseen: readonly number[]
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
  for (const variant of variants) {
    if (!known.has(variant.as)) problems.push(`${variant.type}: as: there is no type ${variant.as}`)
  }
  return { data: { types, variants }, problems }
}

/** What the fit must know of a section; null for those that are no space-charge amplifier. */
export function kindOf(type: TypeData, section: number): Kind | null {
  const curves = type.sections[section]?.curves
  if (curves !== 'triode' && curves !== 'screen') return null
  const part = type.sections[section]?.name ?? ''
  return {
    curves,
    cathode: type.cathode === 'direct' ? 'direct' : 'indirect',
    cut_off: curves === 'screen' ? type.cut_off : 'sharp',
    beam: part.startsWith('tetrode'),
  }
}

/** Points of a section; one without any of its own takes those of the first section with the same curves. */
export function pointsOf(type: TypeData, section: number): readonly OperatingPoint[] {
  const own = type.points.filter((p) => p.section === section)
  if (own.length > 0) return own
  const like = type.sections.findIndex((s) => s.curves === type.sections[section]?.curves)
  return like < 0 || like >= section ? [] : type.points.filter((p) => p.section === like)
}

export function fits(data: Data): Fits {
  return Object.fromEntries(data.types.map((type) => [type.type, type.sections.map((_, i) => fit(type, i))]))
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
        unseen: unseenRatios(used, kind).map((ratio) => round(ratio, 4)),
      }
    }
    case 'diode': {
      const logs = points.flatMap((p) =>
        p.plate_A === null ? [] : [Math.log(p.plate_A / (p.plate_V * Math.sqrt(p.plate_V)))],
      )
      if (logs.length === 0) return { model: null, unseen: [] }
      const middle = logs.reduce((a, b) => a + b, 0) / logs.length
      return {
        model: { form: 'diode', K: round(Math.exp(middle), 6) },
        unseen: logs.length > 1 ? logs.map((l) => round(Math.exp(l - middle), 4)) : [],
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

/**
 * Published over computed plate current of each point by a fit of all the others; none with fewer than two.
 * Cut-off rows (under 2 % of the largest current) are left out: there a ratio says nothing, the band's amps do.
 */
export function unseenRatios(points: readonly OperatingPoint[], kind: Kind): readonly number[] {
  const largest = Math.max(0, ...points.map((p) => p.plate_A ?? 0))
  const placed = points.filter(
    (p) => p.plate_A !== null && p.plate_A > 0.02 * largest && (p.grid_V !== null || p.cathode_ohm !== null),
  )
  if (placed.length < 2) return []
  return placed.flatMap((left) => {
    const model = fitSection(
      points.filter((p) => p !== left),
      kind,
    )
    const computed = model === null ? 0 : atPoint(model, left).plate_A
    return computed > 0 && left.plate_A !== null ? [left.plate_A / computed] : []
  })
}

const defaultWarmUp = {
  indirect: 30,
  direct: 10,
  cold: 0,
}

export function records(data: Data, fitted: Fits): readonly TubeRecord[] {
  const byType = new Map(data.types.map((type) => [type.type, record(type, fitted[type.type] ?? [])]))
  const others = data.variants.flatMap((variant) => {
    const parent = byType.get(variant.as)
    return parent === undefined
      ? []
      : [{ ...parent, type: variant.type, aliases: variant.aliases, heater: variant.heater }]
  })
  return [...byType.values(), ...others].sort((a, b) => (a.type < b.type ? -1 : 1))
}

function record(type: TypeData, fitted: readonly SectionFit[]): TubeRecord {
  const warm_up_s: Figure = type.warm_up_s ?? {
    value: defaultWarmUp[type.cathode],
    source: `default for ${type.cathode === 'cold' ? 'a cold cathode' : `${type.cathode}ly heated types`} (common practice, no source)`,
    confidence: 'from memory',
  }
  return {
    type: type.type,
    aliases: type.aliases,
    kind: type.kind,
    cathode: type.cathode,
    heater: type.heater,
    warm_up_s,
    rating_system: type.rating_system.system,
    rating_source: type.rating_system.source,
    max: Object.fromEntries(Object.entries(type.max).filter(([, figure]) => figure !== undefined)),
    sections: type.sections.map((section, i) => ({
      name: section.name,
      model: fitted[i]?.model ?? null,
      band: band(type, i, fitted[i]),
    })),
    points: type.points,
    service: type.service,
  }
}

/**
 * Model error of a section. It starts from the band that held 95-98 % of unseen class A points (×0.88..1.15 and
 * 3 % of the largest published current), or of those near cut-off (×0.85..1.20 and 5 %); a type that did worse
 * on points its fit had not seen gets what it needed, and one that no second point could check the wider of the two.
 */
function band(type: TypeData, section: number, fitted: SectionFit | undefined): ModelBand {
  const points = pointsOf(type, section).filter((p) => p.doubtful === null)
  const checked = (fitted?.unseen.length ?? 0) > 1
  const classA = points.some((p) => p.plate_A !== null && p.class.startsWith('class A1'))
  const tight = checked && classA && type.cut_off === 'sharp'
  const gmOnly = points.length > 0 && points.every((p) => p.plate_A === null)
  const start = gmOnly
    ? { low: 0.6, high: 1.6, share: 0.05 }
    : tight
      ? { low: 0.88, high: 1.15, share: 0.03 }
      : { low: 0.85, high: 1.2, share: 0.05 }
  const largest = Math.max(0, ...points.map((p) => p.plate_A ?? 0))
  const unseen = fitted?.unseen ?? []
  return {
    low: round(Math.min(start.low, ...unseen), 4),
    high: round(Math.max(start.high, ...unseen), 4),
    plus_A: round(Math.max(0.05e-3, start.share * largest), 4),
  }
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
