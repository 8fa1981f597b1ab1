import { closeSync, existsSync, lstatSync, openSync, readSync, statfsSync, statSync } from 'node:fs'
import { homedir, tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { dataFolder } from './data-folder.js'
import { runNameOf } from './names.js'
import { endingShape } from './shapes.js'
import type { RunEnding } from './types.js'

/*
 * What a run file did not take lies in a file beside it or elsewhere (`fallback.ts` writes it, this finds it again): JSON lines, an
 * entry each, under no seal. It holds the trip, OFF and the ending of a run whose disk was full or whose recorder was lost.
 */

/** `rest`: what the run file refused; `unrecorded`: what a lost recorder never confirmed. */
export type RestKind = 'rest' | 'unrecorded'
const kinds: readonly RestKind[] = ['rest', 'unrecorded']

export interface Rest {
  readonly file: string
  readonly kind: RestKind
  /** It lies in memory: gone with the computer's power. */
  readonly in_memory: boolean
  readonly entries: number
  /** The last ending that it tells; null where it tells none. */
  readonly ending: RunEnding | null
  /** Why it cannot be read to its end; null where it can. */
  readonly trouble: string | null
}

export interface RestPlace {
  readonly folder: string
  readonly in_memory: boolean
}
type Env = Readonly<Record<string, string | undefined>>

/**
 * Folders where it may be put, the best first: on a disk that is not the run file's, which may be full or failing, then on any
 * disk, then in memory. Of each the owner's data folder first, where it is looked for and where nothing tidies it away.
 */
export function restPlaces(runFile: string, env: Env = process.env): RestPlace[] {
  const own = dirname(runFile)
  const home = env['HOME'] ?? homedir()
  const folders = [dataFolder(env), home, '/var/tmp', tmpdir(), own, '/dev/shm'].flatMap((each) =>
    each === null ? [] : [each],
  )
  const of = device(own)
  const rank = ({ folder, in_memory }: RestPlace): number => (in_memory ? 2 : device(folder) === of ? 1 : 0)
  return [...new Set(folders)]
    .map((folder) => ({ folder, in_memory: isMemory(folder) }))
    .sort((a, b) => rank(a) - rank(b))
}

export const restName = (runFile: string, kind: RestKind): string => `${runNameOf(runFile)}-${kind}.jsonl`

/** Files elsewhere with what this run file did not take: this user's own, since anybody may put one of that name into a common folder. */
export function restFiles(runFile: string, env: Env = process.env): { file: string; kind: RestKind }[] {
  const folders = new Set(restPlaces(runFile, env).map(({ folder }) => folder))
  return [...folders].flatMap((folder) =>
    kinds.flatMap((kind) => {
      const file = join(folder, restName(runFile, kind))
      return isOwn(file) ? [{ file, kind }] : []
    }),
  )
}

function isOwn(file: string): boolean {
  const stat = lstatSync(file, { throwIfNoEntry: false })
  return stat?.isFile() === true && (process.getuid === undefined || stat.uid === process.getuid())
}

/** The same, each looked through for the ending that it may hold. */
export function restsOf(runFile: string, env: Env = process.env): Rest[] {
  return restFiles(runFile, env).map(({ file, kind }) => ({
    file,
    kind,
    in_memory: isMemory(dirname(file)),
    ...lookThrough(file),
  }))
}

/** A piece at a time: a night's readings may lie there. */
function lookThrough(file: string): Pick<Rest, 'entries' | 'ending' | 'trouble'> {
  let entries = 0
  let ending: RunEnding | null = null
  let torn = 0
  const line = (text: string): void => {
    // The first says what the file is; nothing else has no `entry`.
    if (!text.includes('"entry"')) return
    entries++
    if (!text.includes('"entry":"ending"')) return
    const read = endingShape.safeParse(endingIn(text))
    if (read.success) ending = read.data
    else torn++
  }
  try {
    const handle = openSync(file, 'r')
    try {
      const piece = Buffer.alloc(1 << 16)
      const decode = new TextDecoder()
      let rest = ''
      for (let got = readSync(handle, piece); got > 0; got = readSync(handle, piece)) {
        const lines = (rest + decode.decode(piece.subarray(0, got), { stream: true })).split('\n')
        rest = lines.pop() ?? ''
        for (const each of lines) line(each)
      }
      if (rest !== '') torn++
    } finally {
      closeSync(handle)
    }
  } catch (error) {
    return { entries, ending, trouble: error instanceof Error ? error.message : String(error) }
  }
  return { entries, ending, trouble: torn === 0 ? null : 'its last line breaks off' }
}

function endingIn(text: string): unknown {
  try {
    return (JSON.parse(text) as { ending?: unknown }).ending
  } catch {
    return undefined
  }
}

/** Types of file systems that are memory (Linux, statfs(2)): tmpfs and ramfs. Elsewhere none is known to be. */
const memories: readonly number[] = [0x01021994, 0x858458f6]

export function isMemory(folder: string): boolean {
  try {
    return process.platform === 'linux' && memories.includes(statfsSync(there(folder)).type)
  } catch {
    return false
  }
}

function device(folder: string): number | null {
  try {
    return statSync(there(folder)).dev
  } catch {
    return null
  }
}

/** The folder, or as much of its path as there is: what is not made yet would be made there. */
function there(folder: string): string {
  return existsSync(folder) || dirname(folder) === folder ? folder : there(dirname(folder))
}
