import { readFileSync, realpathSync, statSync } from 'node:fs'
import { dirname, join, relative, resolve, sep } from 'node:path'
import type { Position, Problem, Where } from '../quantities/index.js'
import { longest_bytes } from './yaml.js'

export type TextRead =
  | { readonly ok: true; readonly text: string }
  | { readonly ok: false; readonly problem: Problem; readonly where: Where }

/** Where the texts of files come from: the disk, for all commands. */
export interface Texts {
  read(path: string): TextRead
  /** Whether a file that another one names may be looked at. */
  reaches(path: string): boolean
}

export const disk: Texts = { read: readText, reaches: () => true }

/**
 * The disk as somebody on the page may see it: no file outside of `folder`, whatever path or link leads there, and texts that
 * are not written yet in the place of theirs.
 */
export function textsWithin(folder: string, unwritten: ReadonlyMap<string, string> = new Map()): Texts {
  const reaches = (path: string): boolean => unwritten.has(path) || isWithin(folder, path)
  return {
    reaches,
    read: (path) => {
      const text = unwritten.get(path)
      if (text !== undefined) return { ok: true, text }
      if (reaches(path)) return readText(path)
      return refused(
        path,
        'this lies outside of the folder',
        'put it into the folder that the service was started with',
      )
    },
  }
}

/** Whether a path lies in a folder, links followed as far as there is something. */
export function isWithin(folder: string, path: string): boolean {
  const inside = (root: string, at: string): boolean => {
    const way = relative(root, at)
    return way !== '' && way !== '..' && !way.startsWith(`..${sep}`) && resolve(root, way) === at
  }
  if (!inside(resolve(folder), resolve(path))) return false
  try {
    return inside(realpathSync(folder), realOf(resolve(path)))
  } catch {
    return false
  }
}

/** Where it really lies; of what is not there yet, by the nearest folder that is. */
function realOf(path: string): string {
  try {
    return realpathSync(path)
  } catch (error) {
    const absent = error instanceof Error && 'code' in error && error.code === 'ENOENT'
    const above = dirname(path)
    if (!absent || above === path) throw error
    return join(realOf(above), path.slice(above.length))
  }
}

function refused(path: string, what: string, remedy: string): Extract<TextRead, { ok: false }> {
  const position: Position = { file: path, line: 1, column: 1 }
  return {
    ok: false,
    problem: { severity: 'error', ...position, path: '', what, remedy },
    where: () => position,
  }
}

function readText(path: string): TextRead {
  const fail = (what: string, remedy: string) => refused(path, what, remedy)
  try {
    const stat = statSync(path)
    if (!stat.isFile()) return fail('this is not a file', 'name the YAML file itself')
    if (stat.size > longest_bytes)
      return fail('the file is larger than half a million bytes', 'check that it is the right file')
    return { ok: true, text: new TextDecoder('utf-8', { fatal: true }).decode(readFileSync(path)) }
  } catch (error) {
    const code = error instanceof Error && 'code' in error ? String(error.code) : ''
    if (code === 'ENOENT')
      return fail(
        'there is no such file',
        'check the path; paths inside files are relative to the file that names them',
      )
    if (code === 'EACCES') return fail('the file may not be read', 'check its permissions')
    if (error instanceof TypeError) return fail('the file is not UTF-8 text', 'save it as UTF-8')
    return fail(`the file cannot be read (${code})`, 'check the path and the disk')
  }
}
