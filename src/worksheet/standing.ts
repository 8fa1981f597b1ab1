import type { ColdChecks } from '../plan/index.js'
import { judgeValue, valueText } from './judge.js'
import type { ColdCheck, ColdValue, ColdVerdict, Worksheet } from './types.js'

/** What of a set's book bears on its cold checks, in the order in which it was written. */
export type ColdFact = {
  readonly seq: number
  readonly at: string
  readonly by: string
  /** Day on which it was done, where that is another than that of writing. */
  readonly on?: string
} & (
  | {
      readonly kind: 'reading'
      readonly item: string
      readonly value: ColdValue
      /** As judged when it was taken: counts where the set's file no longer has the check. */
      readonly verdict: ColdVerdict
      readonly wanted: string
      readonly unit: ColdCheck['unit']
    }
  /** `of`: the reading it was written about; null = none was taken. */
  | { readonly kind: 'waiver'; readonly item: string; readonly of: number | null; readonly reason: string }
  /** Something was done to the set: what was read before of these parts no longer tells of them. */
  | { readonly kind: 'repair'; readonly parts: readonly string[]; readonly text: string }
)
type Reading = Extract<ColdFact, { kind: 'reading' }>
type Waiver = Extract<ColdFact, { kind: 'waiver' }>

export interface ItemStanding {
  readonly item: string
  /** Null where the set's file no longer has it. */
  readonly check: ColdCheck | null
  readonly state: ColdVerdict | 'not taken' | 'to be read again'
  readonly reading: Reading | null
  readonly text: string
  /** In force for this very reading, or for its never having been taken. */
  readonly waiver: Waiver | null
  /** Earlier ones, no longer in force: read again, or mended. They follow the set all the same. */
  readonly once: readonly Waiver[]
  /** Why the reading is old, in words: by its age, or by what was done to the set since; null where it is not. */
  readonly old: string | null
}

/** The moment, and how long a reading of the cold set stands. */
export interface Clock {
  readonly now: string
  readonly stands_s: number
}

/** Every check of the sheet, and every reading of a check that is no longer on it. */
export function standingOf(
  sheet: Worksheet,
  facts: readonly ColdFact[],
  clock: Clock | null = null,
): ItemStanding[] {
  const known = new Map(sheet.checks.map((check) => [check.item, check]))
  const gone = facts.flatMap((fact) => (fact.kind !== 'repair' && !known.has(fact.item) ? [fact.item] : []))
  return [...known.keys(), ...new Set(gone)].map((item) =>
    itemStanding(item, known.get(item) ?? null, facts, clock),
  )
}

function itemStanding(
  item: string,
  check: ColdCheck | null,
  facts: readonly ColdFact[],
  clock: Clock | null,
): ItemStanding {
  const reading =
    facts.findLast((fact): fact is Reading => fact.kind === 'reading' && fact.item === item) ?? null
  // The job begins anew after a repair: what must be taken is taken again, other readings where they are about the part.
  const repair = facts.findLast(
    (fact) =>
      fact.kind === 'repair' &&
      (check?.must === true || check?.parts.some((part) => fact.parts.includes(part)) === true),
  )
  // The sheet on paper may be typed in after the repair that came after it.
  const isBefore = (one: Reading, other: ColdFact): boolean =>
    other.seq > one.seq || dayOf(one) < dayOf(other)
  const stale = reading !== null && repair !== undefined && isBefore(reading, repair)
  const aged = reading === null ? null : ageOf(reading, clock)
  const since =
    reading === null
      ? undefined
      : facts.findLast((fact) => fact.kind === 'repair' && isBefore(reading, fact) && fact.text !== '')
  const old = [
    ...(aged === null ? [] : [aged]),
    ...(since?.kind === 'repair' ? [`taken before the last repair (${since.text})`] : []),
  ].join(', ')
  const all = facts.filter((fact): fact is Waiver => fact.kind === 'waiver' && fact.item === item)
  const last = all.at(-1)
  const waiver =
    last !== undefined &&
    check?.waivable !== false &&
    last.of === (reading?.seq ?? null) &&
    last.seq > (repair?.seq ?? -1)
      ? last
      : null
  const once = all.filter((each) => each !== waiver)
  const common = { item, check, reading, waiver, once, old: old === '' ? null : old }
  if (reading === null)
    return { ...common, state: 'not taken', text: `not taken; wanted: ${check?.wanted ?? 'no longer known'}` }
  if (stale)
    return {
      ...common,
      state: 'to be read again',
      text: `${valueText(reading.unit, reading.value)} was read before a repair${repair.kind === 'repair' && repair.text !== '' ? ` (${repair.text})` : ''}: to be read again; wanted: ${check?.wanted ?? reading.wanted}`,
    }
  // What must be taken is taken again; of all else it is said.
  if (aged !== null && check?.must === true)
    return {
      ...common,
      state: 'to be read again',
      text: `${valueText(reading.unit, reading.value)} is ${aged}: to be read again; wanted: ${check.wanted}`,
    }
  if (check === null)
    return {
      ...common,
      state: reading.verdict,
      text: `${valueText(reading.unit, reading.value)}; wanted when it was taken: ${reading.wanted}. The set's file no longer has this check`,
    }
  const judged = judgeValue(check, reading.value)
  const said = common.old === null ? '' : ` OLD: ${common.old}.`
  return { ...common, state: judged.verdict, text: `${judged.text}${said}` }
}

const day_s = 86_400

/** The day on which it was done. */
const dayOf = ({ at, on }: Pick<ColdFact, 'at' | 'on'>): string => (on ?? at).slice(0, 10)

/** A moment that cannot be read, or lies ahead by more than the clocks of the earth differ, is no proof of being young. */
function ageOf({ at, on }: Reading, clock: Clock | null): string | null {
  if (clock === null) return null
  const age_s = (Date.parse(clock.now) - Date.parse(on ?? at)) / 1000
  if (age_s >= -day_s && age_s <= clock.stands_s) return null
  const stands = `${Math.floor(clock.stands_s / day_s)} days that a reading stands`
  if (!(age_s >= -day_s)) return `of a day that cannot be (${on ?? at}), so not within the ${stands}`
  return `${Math.floor(age_s / day_s)} days old, more than the ${stands}`
}

/** A reading that a repair made old still stands for a fault until it is read again. */
function isBad({ state, reading, check }: ItemStanding): boolean {
  if (state === 'out of range') return true
  if (state !== 'to be read again' || reading === null) return false
  return check === null
    ? reading.verdict === 'out of range'
    : judgeValue(check, reading.value).verdict === 'out of range'
}

/**
 * What the cold checks say to a plan that drives these rails. On a virtual bench nothing real can be hurt: readings that were
 * never taken are only named there; one that was found out of range blocks power there too.
 */
export function coldChecksOf(
  standing: readonly ItemStanding[],
  rails: readonly string[],
  bench_kind: 'real' | 'virtual',
): ColdChecks {
  const blocks: ColdChecks['blocks'][number][] = []
  const not_asked: string[] = []
  const not_taken: string[] = []
  const old: string[] = []
  const marginal: string[] = []
  for (const each of standing) {
    const { item, state, check, waiver, text } = each
    const concerns =
      check === null || check.rails.length === 0 || check.rails.some((rail) => rails.includes(rail))
    const open = state === 'not taken' || state === 'to be read again'
    if (waiver === null) {
      if (isBad(each)) {
        blocks.push({ item, why: 'out of range', text })
        continue
      }
      if (open && check?.must === true && concerns) {
        if (bench_kind === 'real') blocks.push({ item, why: 'not taken', text })
        else not_asked.push(item)
        continue
      }
    }
    if (open) not_taken.push(item)
    else if (state === 'marginal') marginal.push(`${item}: ${text}`)
    if (!open && each.old !== null) old.push(item)
  }
  const once_waived = standing.flatMap(({ item, text, once }) =>
    once.map((each) => `${item}: ${waivedWords(each)} Now: ${trimmed(text)}`),
  )
  return { blocks, not_asked, not_taken, old, marginal, waived: waivedOf(standing), once_waived }
}

/** Who let it stand, when and why; a sentence of its own. */
const waivedWords = ({ by, at, reason }: Waiver): string =>
  `waived by ${by} on ${at.slice(0, 10)}: ${trimmed(reason)}.`

function waivedOf(standing: readonly ItemStanding[]): ColdChecks['waived'] {
  return standing.flatMap(({ item, text, waiver }) =>
    waiver === null
      ? []
      : [
          {
            item,
            text: `${item}: ${trimmed(text)}. Waived by ${waiver.by} on ${waiver.at.slice(0, 10)}: ${waiver.reason}`,
          },
        ],
  )
}

const trimmed = (text: string): string => text.replace(/\.$/, '')
