import { catalogue } from './catalogue.generated.js'
import type { TubeRecord } from './types.js'

/** Letters and digits only, capitals: "6v6-gt" and "6V6GT" are the same name. */
function plain(name: string): string {
  return name.toUpperCase().replace(/[^\p{L}\p{N}]/gu, '')
}

/** An alias as printed, without its remark in brackets; "(near)" ones are suggestions only. */
function isNear(alias: string): boolean {
  return /\(near\)/i.test(alias)
}
function bare(alias: string): string {
  return alias.replace(/\s*\(.*\)\s*$/u, '')
}

/** The same name in the letters it is printed with, where an alias gives it in brackets: SG1P (СГ1П). */
function otherLetters(alias: string): string | null {
  return /\((.*\p{Script=Cyrillic}.*)\)\s*$/u.exec(alias)?.[1] ?? null
}

/** How a bulb or base of the same type is marked: 5Y3, 5Y3G, 5Y3GT. RETMA designations, from memory. */
const forms = ['G', 'GT', 'GA', 'GB', 'GY', 'GTA', 'GTB', 'W', 'A']

const byName = new Map<string, { readonly record: TubeRecord; readonly alias: string | null }>()
const nearNames = new Map<string, string>()
for (const record of catalogue) byName.set(plain(record.type), { record, alias: null })
for (const record of catalogue) {
  for (const alias of record.aliases) {
    for (const written of [bare(alias), otherLetters(alias)]) {
      if (written === null) continue
      const name = plain(written)
      if (isNear(alias)) nearNames.set(name, record.type)
      else if (!byName.has(name)) byName.set(name, { record, alias: written })
    }
  }
}

/** Whether two names are the same but for letters' case and signs between them. */
export function sameName(a: string, b: string): boolean {
  return plain(a) === plain(b)
}

/** Every type of the catalogue, by name. */
export function allTypes(): readonly TubeRecord[] {
  return catalogue
}

/**
 * The record of a type, by its name or by an equivalent name; `as` says which equivalence was used ("" when none).
 * An unknown name gives the nearest names, those of `own` among them, of which none is taken by itself.
 */
export function findTube(
  type: string,
  own: readonly string[] = [],
):
  | { readonly found: TubeRecord; readonly as: string }
  | { readonly found: null; readonly near: readonly string[] } {
  const wanted = plain(type)
  // Military marking before the type: JAN-6V6GT, JAN-CRC-6V6GT.
  const named = wanted.replace(/^JAN(C[A-Z]{2})?(?=[\dO])/, '')
  // The figure nought that begins some designations is as often written as the letter.
  const nought = named.replace(/^O(?=[A-Z]\d)/, '0')
  const hit = byName.get(wanted) ?? byName.get(named) ?? byName.get(nought)
  if (hit !== undefined) {
    return {
      found: hit.record,
      as: hit.alias === null ? '' : `${hit.alias} is taken as ${hit.record.type}`,
    }
  }
  const made = madeAs(nought)
  const [only] = made
  if (only !== undefined && made.length === 1)
    return { found: only, as: `${type} is taken as ${only.type}, the form that is stored` }
  if (made.length > 1) return { found: null, near: made.map(({ type: each }) => each) }
  const suggested = nearNames.get(wanted)
  const others = [...own, ...[...byName.values()].map(({ record, alias }) => alias ?? record.type)]
    .map((name, at) => ({ name, own: at < own.length, distance: distance(nought, plain(bare(name))) }))
    .filter(({ distance }) => distance <= 2)
    .sort((a, b) => a.distance - b.distance || Number(b.own) - Number(a.own) || (a.name < b.name ? -1 : 1))
    .map(({ name }) => name)
  const near = suggested === undefined ? others : [suggested, ...others]
  return { found: null, near: [...new Set(near)].slice(0, 6) }
}

/** Types whose name is this one with a bulb's or base's letters after it; where those differ, none is chosen. */
function madeAs(name: string): readonly TubeRecord[] {
  if (!/^\d{1,2}[A-Z]{1,2}\d{1,2}$/.test(name)) return []
  return [...new Set(forms.flatMap((form) => byName.get(name + form)?.record ?? []))]
}

/** Edit distance: how many letters to change, add or drop. */
function distance(a: string, b: string): number {
  let row = Array.from({ length: b.length + 1 }, (_, i) => i)
  for (let i = 1; i <= a.length; i++) {
    const next = [i]
    for (let j = 1; j <= b.length; j++) {
      const same = a[i - 1] === b[j - 1] ? 0 : 1
      next.push(Math.min((row[j] ?? 0) + 1, (next[j - 1] ?? 0) + 1, (row[j - 1] ?? 0) + same))
    }
    row = next
  }
  return row[b.length] ?? 0
}
