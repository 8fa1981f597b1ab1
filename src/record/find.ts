import { existsSync, readdirSync, statSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'
import { extension, runNameOf } from './names.js'
import { openRunFile } from './reader.js'
import { restFiles } from './rest.js'
import { RecordTrouble } from './trouble.js'
import type { Known, RunEnding, RunEvent } from './types.js'

/** One line of the list of runs. `trouble`: the file cannot be read, and why. */
export interface RunLine {
  readonly file: string
  /** It lies in the folder's archive. */
  readonly archived: boolean
  /** Of the file, its unfinished part and the off plan beside it. */
  readonly bytes: number
  readonly run: string
  readonly started: string | null
  readonly equipment: string | null
  readonly profile: string | null
  readonly command: 'rehearse' | 'run' | 'qualify' | null
  readonly outcome: RunEnding['outcome'] | 'interrupted' | null
  readonly outputs_off: RunEnding['outputs_off'] | 'not known' | null
  readonly reason: string | null
  readonly warnings: number
  /** Rails on the person's own knob that were not confirmed off. */
  readonly hands_open: readonly string[]
  /** No rail of the run was slowglow's to switch or to measure. */
  readonly nothing_to_confirm: boolean
  readonly duration_s: number | null
  readonly trouble: string | null
  /** Where the record has no ending: files elsewhere with what it did not take. */
  readonly rest: readonly string[]
  /** Parts that could not be read while it was looked at for this line. */
  readonly damage: readonly string[]
}

/** The off plan of a run, which `safe-off` goes by while its outputs may be on. */
export const offPlanFile = (file: string): string => `${file}.off.json`

/** Runs put aside lie here, in their folder, and are found and read like the others. */
export const archiveName = 'archive'

/** Where a run lies that was kept as this file: there, or in the archive beside it, or beside the archive that it was in; null: nowhere. */
export function whereIsRun(file: string): string | null {
  const folder = dirname(file)
  const beside = basename(folder) === archiveName ? dirname(folder) : join(folder, archiveName)
  return [file, join(beside, basename(file))].find((each) => existsSync(each)) ?? null
}

/** The runs of a folder, oldest first. */
export function listRuns(folder: string): RunLine[] {
  return filesOf(folder)
    .map((file) => lineOf(join(folder, file)))
    .sort((a, b) => (a.started ?? a.run).localeCompare(b.started ?? b.run))
}

/** The newest run of a set, over all these folders, that was no rehearsal and that `counts`; null where there is none, or where a newer
 * file, or a folder, cannot be read and might hold it. File names begin with their time. */
export function lastRunOf(
  folders: readonly string[],
  equipment: string,
  counts: (known: Known, events: readonly RunEvent[]) => boolean = () => true,
): { readonly known: Known; readonly events: readonly RunEvent[] } | null {
  const byTime = (a: string, b: string): number => basename(a).localeCompare(basename(b))
  if (folders.some((folder) => unlistedIn(folder).length > 0)) return null
  const files = folders.flatMap((folder) => filesOf(folder).map((file) => join(folder, file)))
  for (const file of files.sort(byTime).reverse()) {
    const opened = openRunFile(file)
    if ('trouble' in opened) return null
    const { reader } = opened
    try {
      const known = reader.known()
      const ours = known?.command === 'run' && known.plan.equipment === equipment
      const events = ours ? reader.told() : []
      if (reader.damage().length > 0) return null
      if (ours && counts(known, events)) return { known, events }
    } catch (error) {
      if (!(error instanceof RecordTrouble)) throw error
      return null
    } finally {
      reader.close()
    }
  }
  return null
}

/** Runs of a set in these folders that were no rehearsals and can be read, newest first; of so many newest files at most. */
export function runsOfSet(
  folders: readonly string[],
  equipment: string,
  most = 40,
): { readonly known: Known; readonly events: readonly RunEvent[] }[] {
  const byTime = (a: string, b: string): number => basename(a).localeCompare(basename(b))
  const files = folders.flatMap((folder) => filesOf(folder).map((file) => join(folder, file)))
  return files
    .sort(byTime)
    .reverse()
    .slice(0, most)
    .flatMap((file) => {
      const opened = openRunFile(file)
      if ('trouble' in opened) return []
      const { reader } = opened
      try {
        const known = reader.known()
        if (known?.command !== 'run' || known.plan.equipment !== equipment) return []
        return [{ known, events: reader.told() }]
      } catch (error) {
        if (!(error instanceof RecordTrouble)) throw error
        return []
      } finally {
        reader.close()
      }
    })
}

/** A run by path, or by its name among `folder`: whole, or what it begins or ends with, or else any piece of it (its time). */
export function findRun(
  words: string,
  folder: string,
  cwd: string,
): { readonly path: string } | { readonly trouble: string; readonly ambiguous: boolean } {
  const asPath = resolve(cwd, words)
  if (existsSync(asPath) && statSync(asPath).isFile()) return { path: asPath }
  const runs = filesOf(folder).map((file) => ({ file, name: runNameOf(file) }))
  const wanted = runNameOf(words)
  const near =
    [
      runs.filter(({ name }) => name === wanted),
      runs.filter(({ name }) => name.startsWith(wanted) || name.endsWith(wanted)),
      runs.filter(({ name }) => name.includes(wanted)),
    ].find((found) => found.length > 0) ?? []
  const [only] = near
  if (only !== undefined && near.length === 1) return { path: join(folder, only.file) }
  if (near.length > 1)
    return {
      trouble: `${words} fits ${near.length} runs: ${near
        .slice(0, 5)
        .map(({ name }) => name)
        .join(', ')}${near.length > 5 ? ', …' : ''}. Give more of the name.`,
      ambiguous: true,
    }
  const none = `There is no run ${words}, neither as a file nor in ${folder}. \`slowglow runs\` lists those that there are.`
  return {
    trouble: [none, ...unlistedIn(folder).map(({ trouble }) => trouble)].join(' '),
    ambiguous: false,
  }
}

/** Some run file lies there or in its archive; where that cannot be looked at, it might. */
export function holdsRuns(folder: string): boolean {
  return filesOf(folder).length > 0 || unlistedIn(folder).length > 0
}

/** A folder of runs, or the archive in it, that cannot be looked into, and why. */
export interface Unlisted {
  readonly file: string
  readonly trouble: string
}

/** What of a folder cannot be looked into: which runs lie there is not known, and whoever lists or searches must say so. */
export function unlistedIn(folder: string): Unlisted[] {
  return lookInto(folder).flatMap((found) => ('trouble' in found ? [found] : []))
}

function filesOf(folder: string): string[] {
  return lookInto(folder).flatMap((found) => ('files' in found ? found.files : []))
}

function lookInto(folder: string): ({ readonly files: string[] } | Unlisted)[] {
  return ['', archiveName].map((part) => {
    const at = join(folder, part)
    try {
      if (statSync(at, { throwIfNoEntry: false })?.isDirectory() !== true) return { files: [] }
      const files = readdirSync(at).filter((file) => file.endsWith(extension))
      return { files: files.map((file) => join(part, file)) }
    } catch (error) {
      const why = error instanceof Error ? error.message : String(error)
      return {
        file: at,
        trouble: `The folder ${at} cannot be looked into (${why}): which runs lie there is not known. Get the right to read it, or name another folder.`,
      }
    }
  })
}

function bytesOf(file: string): number {
  try {
    return statSync(file, { throwIfNoEntry: false })?.size ?? 0
  } catch {
    return 0
  }
}

function lineOf(file: string): RunLine {
  const run = runNameOf(file)
  const nothing = {
    archived: basename(dirname(file)) === archiveName,
    bytes: bytesOf(file) + bytesOf(`${file}-wal`) + bytesOf(offPlanFile(file)),
    started: null,
    equipment: null,
    profile: null,
    command: null,
    outcome: null,
    outputs_off: null,
    warnings: 0,
    hands_open: [],
    nothing_to_confirm: false,
    rest: [],
    damage: [],
  }
  const unreadable = (trouble: string): RunLine => ({
    file,
    run,
    ...nothing,
    reason: null,
    duration_s: null,
    trouble,
  })
  const opened = openRunFile(file)
  if ('trouble' in opened) return unreadable(opened.trouble)
  const { reader } = opened
  try {
    const known = reader.known()
    const ending = reader.ending()?.ending ?? null
    const span = reader.span()
    return {
      ...nothing,
      file,
      run: known?.run ?? run,
      started: known?.started ?? null,
      equipment: known?.plan.equipment ?? null,
      profile: known?.plan.profile ?? null,
      command: known?.command ?? null,
      outcome: ending?.outcome ?? 'interrupted',
      outputs_off: ending?.outputs_off ?? 'not known',
      reason: ending?.reason?.text ?? null,
      warnings: ending?.warnings.length ?? 0,
      hands_open: Object.entries(ending?.hand_rails ?? {}).flatMap(([rail, left]) =>
        typeof left === 'number' ? [] : [rail],
      ),
      nothing_to_confirm: ending?.details['nothing_to_confirm'] === true,
      duration_s: ending?.duration_s ?? (span === null ? null : (span.to_us - span.from_us) / 1e6),
      rest: ending === null ? restFiles(file).map((each) => each.file) : [],
      trouble: null,
      damage: reader.damage(),
    }
  } catch (error) {
    if (error instanceof RecordTrouble) return unreadable(error.message)
    throw error
  } finally {
    reader.close()
  }
}
