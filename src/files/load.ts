import { existsSync } from 'node:fs'
import { dirname, resolve } from 'node:path'
import { groundGraph, readBench, type Bench } from '../bench/index.js'
import { type Equipment, type OwnTypes, readEquipment, readOwnTypes } from '../equipment/index.js'
import { checkProfile, readProfile, type Profile } from '../profile/index.js'
import type { Problem, Where } from '../quantities/index.js'
import { qualifiedBench } from '../qualify/index.js'
import { formingBench, liftedSet } from '../reform/index.js'
import { qualificationPath, readQualification } from './qualification.js'
import { disk, type Texts } from './texts.js'
import { parseYaml } from './yaml.js'

/** A file as read: its meaning (null when it has errors), what is wrong with it, its text, and where things stand in it. */
export interface Loaded<T> {
  readonly value: T | null
  readonly problems: readonly Problem[]
  readonly text: string
  readonly path: string
  readonly where: Where
}

export type Kind = 'equipment' | 'bench' | 'profile'

export function loadEquipment(path: string, texts: Texts = disk): Loaded<Equipment> {
  return load(path, 'equipment', readEquipment, texts)
}
/** The tube types that a set's file defines, whatever else of it is still wrong. */
export function loadTubeTypes(path: string, texts: Texts = disk): Loaded<OwnTypes> {
  return load(path, 'equipment', readOwnTypes, texts)
}
export function loadBench(path: string, texts: Texts = disk): Loaded<Bench> {
  return load(path, 'bench', readBench, texts)
}
/** The same with what `slowglow qualify` measured of it. */
export function loadMeasuredBench(path: string, texts: Texts = disk): Loaded<Bench> {
  const problems: Problem[] = []
  const { bench } = withMeasured(loadBench(path, texts), problems, texts)
  return { ...bench, problems: [...bench.problems, ...problems] }
}
export function loadProfile(path: string, texts: Texts = disk): Loaded<Profile> {
  return load(path, 'profile', readProfile, texts)
}

type Reader<T> = (
  raw: unknown,
  where: Where,
) => { readonly value: T | null; readonly problems: readonly Problem[] }

function load<T>(path: string, kind: Kind, read: Reader<T>, texts: Texts): Loaded<T> {
  const text = texts.read(path)
  if (!text.ok) return { value: null, problems: [text.problem], text: '', path, where: text.where }
  return readFrom(text.text, path, kind, read)
}

/** The same from text: for tests, and for what is not yet on disk. */
export function fromText(text: string, path: string, kind: 'equipment'): Loaded<Equipment>
export function fromText(text: string, path: string, kind: 'bench'): Loaded<Bench>
export function fromText(text: string, path: string, kind: 'profile'): Loaded<Profile>
export function fromText(text: string, path: string, kind: Kind): Loaded<Equipment | Bench | Profile> {
  switch (kind) {
    case 'equipment':
      return readFrom(text, path, kind, readEquipment)
    case 'bench':
      return readFrom(text, path, kind, readBench)
    case 'profile':
      return readFrom(text, path, kind, readProfile)
  }
}

function readFrom<T>(text: string, path: string, kind: Kind, read: Reader<T>): Loaded<T> {
  const parsed = parseYaml(text, path)
  if (!parsed.sound) return { value: null, problems: parsed.problems, text, path, where: parsed.where }
  const is = kindOfRaw(parsed.raw)
  if (is !== null && is !== kind)
    return {
      value: null,
      problems: [
        {
          severity: 'error',
          ...parsed.where(['slowglow']),
          path: 'slowglow',
          what: `this is ${article(is)} ${is} file; ${article(kind)} ${kind} file is wanted here`,
          remedy: `name the ${kind} file instead`,
        },
      ],
      text,
      path,
      where: parsed.where,
    }
  const result = read(parsed.raw, parsed.where)
  const problems = [...parsed.problems, ...result.problems].sort(
    (a, b) => a.line - b.line || a.column - b.column,
  )
  return {
    value: parsed.problems.length > 0 ? null : result.value,
    problems,
    text,
    path,
    where: parsed.where,
  }
}

const article = (word: string): string => (word === 'equipment' ? 'an' : 'a')

/** Which of the three a file is, by its first key; null when it says none of them. */
export function kindOfRaw(raw: unknown): Kind | null {
  if (typeof raw !== 'object' || raw === null || !('slowglow' in raw)) return null
  const says = raw.slowglow
  if (typeof says !== 'string') return null
  const word = says.split(' ')[0]
  return word === 'equipment' || word === 'bench' || word === 'profile' ? word : null
}

/** Reads a file far enough to say which of the three it is. */
export function kindOf(
  path: string,
  texts: Texts = disk,
): { readonly kind: Kind | null; readonly problems: readonly Problem[] } {
  const text = texts.read(path)
  if (!text.ok) return { kind: null, problems: [text.problem] }
  const parsed = parseYaml(text.text, path)
  const kind = parsed.sound ? kindOfRaw(parsed.raw) : guessKind(text.text)
  if (kind !== null) return { kind, problems: [] }
  if (!parsed.sound) return { kind: null, problems: parsed.problems }
  return {
    kind: null,
    problems: [
      {
        severity: 'error',
        ...parsed.where(['slowglow']),
        path: 'slowglow',
        what: 'the file does not say what it is',
        remedy: 'begin it with slowglow: equipment 1, slowglow: bench 1 or slowglow: profile 1',
      },
    ],
  }
}

/** What a file says of itself at its top level, as far as it is legible: for lists, where nothing is judged. */
export function glance(text: string): {
  readonly kind: Kind | null
  readonly name: string | null
  readonly says: string | null
  readonly equipment: string | null
  readonly bench: string | null
} {
  return {
    kind: guessKind(text),
    name: legible(text, 'name'),
    says: legible(text, 'kind'),
    equipment: legible(text, 'equipment'),
    bench: legible(text, 'bench'),
  }
}

/** A path that a file names at its top level, read from its text where the file as a whole is not sound. */
function legible(text: string, key: string): string | null {
  return new RegExp(`^${key}: *["']?([^"'#\\n]+?)["']? *(?:#.*)?$`, 'm').exec(text)?.[1] ?? null
}

/** Where the YAML is broken, its first key may still be legible. */
function guessKind(text: string): Kind | null {
  return kindOfRaw({ slowglow: /^slowglow: *([a-z]+ 1)/m.exec(text)?.[1] })
}

/** A profile with all it names, judged together. */
export interface LoadedAll {
  readonly profile: Loaded<Profile>
  readonly equipment: Loaded<Equipment> | null
  readonly bench: Loaded<Bench> | null
  /** The set behind a virtual bench, where that is another file than the profile's. */
  readonly benchEquipment: Loaded<Equipment> | null
  /** What `slowglow qualify` wrote of the bench, where there is such a file. */
  readonly qualification: { readonly path: string; readonly text: string } | null
  readonly problems: readonly Problem[]
  /** All three, sound and fitting together; null when any problem is an error or no bench is named. */
  readonly value: { readonly profile: Profile; readonly equipment: Equipment; readonly bench: Bench } | null
}

/** What is clipped to what: bench and set, or the parts lifted out of it and the one supply that forms them. */
function joined(profile: Profile | null, equipment: Equipment, bench: Bench): readonly [Equipment, Bench] {
  if (profile?.reform == null) return [equipment, bench]
  return [liftedSet(equipment, profile.reform), formingBench(bench, profile.reform) ?? bench]
}

/** The bench with what `qualify` measured of it; a file of that which cannot be used is told and left out. */
function withMeasured(
  bench: Loaded<Bench>,
  problems: Problem[],
  texts: Texts,
): { readonly bench: Loaded<Bench>; readonly file: LoadedAll['qualification'] } {
  if (bench.value === null) return { bench, file: null }
  const path = qualificationPath(bench.path, bench.value.qualification)
  const read = texts.reaches(path) ? readQualification(path) : { trouble: 'it lies outside of the folder' }
  const told = (what: string, remedy: string): void => {
    const where = { ...bench.where(['qualification']), path: 'qualification' }
    problems.push({
      severity: 'warning',
      ...where,
      what: `${what}: the bench counts as not qualified`,
      remedy,
    })
  }
  if ('trouble' in read)
    told(
      `${path} cannot be used (${read.trouble})`,
      'mend it, or move it away and run slowglow qualify again',
    )
  else if (read.value === null && bench.value.qualification !== null)
    told(`there is no ${path}`, 'check the path, or run slowglow qualify')
  const found = 'trouble' in read ? null : read.value
  const value = qualifiedBench(bench.value, found, new Date().toISOString())
  return {
    bench: { ...bench, value },
    file: 'trouble' in read || read.value === null ? null : { path, text: read.text },
  }
}

/**
 * Loads a profile and what it names. `benchPath` (as given on a command line) takes the place of the profile's bench.
 * Paths inside a file are relative to that file.
 */
export function loadAll(profilePath: string, benchPath?: string, texts: Texts = disk): LoadedAll {
  const profile = loadProfile(profilePath, texts)
  const problems: Problem[] = [...profile.problems]
  const beside = (file: string, named: string): string => resolve(dirname(file), named)
  const named = profile.value
  // A slip in the profile hides nothing of what it names: all errors are wanted at once.
  const told = (key: 'equipment' | 'bench'): string | null => {
    if (named !== null) return named[key]
    const at = legible(profile.text, key)
    if (at === null) return null
    const path = beside(profilePath, at)
    return texts.reaches(path) && existsSync(path) ? at : null
  }
  const [equipmentAt, benchNamed] = [told('equipment'), told('bench')]
  const equipment = equipmentAt === null ? null : loadEquipment(beside(profilePath, equipmentAt), texts)
  const benchAt = benchPath ?? (benchNamed === null ? null : beside(profilePath, benchNamed))
  const written = benchAt === null ? null : loadBench(benchAt, texts)
  const measured = written === null ? null : withMeasured(written, problems, texts)
  const bench = measured?.bench ?? null
  if (equipment !== null) problems.push(...equipment.problems)
  if (bench !== null) problems.push(...bench.problems)
  const behind = bench?.value?.equipment ?? null
  const behindAt = behind === null || benchAt === null ? null : beside(benchAt, behind)
  const benchEquipment =
    behindAt === null || (equipment !== null && resolve(equipment.path) === behindAt)
      ? null
      : loadEquipment(behindAt, texts)
  if (benchEquipment !== null) problems.push(...benchEquipment.problems)
  if (named !== null && equipment?.value != null)
    problems.push(...checkProfile(named, equipment.value, profile.where))
  if (equipment?.value != null && bench?.value != null)
    problems.push(
      ...groundGraph(...joined(named, equipment.value, bench.value), {
        equipment: equipment.where,
        bench: bench.where,
      }),
    )
  const sound = !problems.some(({ severity }) => severity === 'error')
  return {
    profile,
    equipment,
    bench,
    benchEquipment,
    qualification: measured?.file ?? null,
    problems,
    value:
      sound && named !== null && equipment?.value != null && bench?.value != null
        ? { profile: named, equipment: equipment.value, bench: bench.value }
        : null,
  }
}
