import { dirname, resolve } from 'node:path'
import type { OwnTypes } from '../../equipment/index.js'
import { kindOf, loadProfile, loadTubeTypes, type Problem } from '../../files/index.js'
import { findTube, sameName, type TubeRecord } from '../../tubes/index.js'
import { exits } from '../exits.js'
import type { Io } from '../io.js'
import { placed, shown } from '../problems.js'
import type { Refusal } from '../refuse.js'

/* Where `slowglow tube` finds a type: in a set's file, where one is named, then in the catalogue. */

export interface SetTypes {
  readonly path: string
  readonly types: OwnTypes
  /** What is wrong with the definitions. */
  readonly problems: readonly Problem[]
}

/** The types that a set's file defines, by its own file or by a profile that names it; why they cannot be read. */
export function setTypes(file: string, { cwd }: Pick<Io, 'cwd'>): SetTypes | Refusal {
  const path = resolve(cwd, file)
  const fail = (problems: readonly Problem[], what: string): Refusal => ({
    exit: exits.finding,
    where: shown(path, cwd),
    what: `slowglow tube: ${what}`,
    remedy: "Name the set's file, or a profile of it.",
    problems: placed(problems, cwd),
  })
  const { kind, problems } = kindOf(path)
  if (kind === 'bench')
    return { ...fail([], `${file} is a bench file, which defines no tubes.`), exit: exits.usage }
  if (kind === null) return fail(problems, `${file} cannot be read as a set's file.`)
  const profile = kind === 'profile' ? loadProfile(path) : null
  if (profile !== null && profile.value === null) return fail(profile.problems, `${file} names no set.`)
  const at = profile?.value == null ? path : resolve(dirname(path), profile.value.equipment)
  const loaded = loadTubeTypes(at)
  return loaded.value === null
    ? fail(loaded.problems, `${shown(at, cwd)} cannot be read as a set's file.`)
    : { path: at, types: loaded.value, problems: loaded.problems }
}

/** A type by name: the set's own before the catalogue's, as in the set itself. `own`: its record is the set's. */
export type LookedUp =
  | { readonly found: TubeRecord; readonly as: string; readonly own: boolean }
  | { readonly found: null; readonly near: readonly string[]; readonly broken: boolean }

export function lookUp(type: string, set: SetTypes | null, { cwd }: Pick<Io, 'cwd'>): LookedUp {
  const names = set === null ? [] : [...set.types.keys()]
  const name = names.find((each) => each === type) ?? names.find((each) => sameName(each, type))
  if (set !== null && name !== undefined) {
    const record = set.types.get(name) ?? null
    return record === null
      ? { found: null, near: [], broken: true }
      : { found: record, as: `defined in ${shown(set.path, cwd)}`, own: true }
  }
  const hit = findTube(type, names)
  return hit.found === null ? { ...hit, broken: false } : { ...hit, own: false }
}
