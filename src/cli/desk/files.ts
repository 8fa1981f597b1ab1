import { createHash } from 'node:crypto'
import { mkdirSync, readdirSync, readFileSync, renameSync, statSync, writeFileSync } from 'node:fs'
import { dirname, join, relative, resolve, sep } from 'node:path'
import * as z from 'zod'
import { benchShape } from '../../bench/index.js'
import { equipmentShape } from '../../equipment/index.js'
import { glance, isWithin } from '../../files/index.js'
import { profileShape } from '../../profile/index.js'
import { type DeskQuestions, Refused } from '../../service/index.js'
import { checkFiles } from '../commands/check.js'
import { placed } from '../problems.js'
import { askedSoFar } from './new-set.js'
import { pathIn, problemOf, textsOf, type Where } from './place.js'

type FilesDesk = Pick<DeskQuestions, 'files' | 'readFile' | 'writeFile' | 'check' | 'newSet' | 'schema'>

const deepest = 4
const most_files = 500
const most_bytes = 500_000

export function filesDesk(where: Where): FilesDesk {
  const { folder } = where
  const check: FilesDesk['check'] = ({ path, text, texts = {} }) => {
    const unwritten = text === undefined ? texts : { ...texts, [path]: text }
    if (!(path in unwritten)) pathIn(where, path)
    else if (!isWithin(folder, resolve(folder, path))) pathIn(where, path)
    const { checked, problems } = checkFiles([path], folder, textsOf(where, unwritten))
    const kind = checked.find(({ file }) => file === relative(folder, resolve(folder, path)))?.kind ?? null
    return {
      path,
      kind,
      ok: problems.every(({ severity }) => severity !== 'error'),
      problems: placed(problems, folder).map(problemOf),
    }
  }
  return {
    files: () => {
      const found = yamlIn(folder, '', 0)
      return {
        folder,
        files: found.slice(0, most_files).map((path) => lineOf(folder, path)),
        left_out: Math.max(0, found.length - most_files),
      }
    },
    readFile: ({ path }) => {
      const read = textsOf(where).read(pathIn(where, path))
      if (!read.ok)
        throw new Refused(404, 'not found', `${path}: ${read.problem.what}.`, {
          remedy: `${read.problem.remedy}.`,
          where: path,
        })
      return { path, kind: glance(read.text).kind, text: read.text, hash: hashOf(read.text) }
    },
    writeFile: async ({ path, text, replaces }) => {
      const at = pathIn(where, path)
      write(at, path, text, replaces)
      return { ...(await check({ path })), hash: hashOf(text) }
    },
    check,
    newSet: ({ answers }) => askedSoFar(answers),
    schema: ({ kind }) =>
      z.toJSONSchema({ equipment: equipmentShape, bench: benchShape, profile: profileShape }[kind], {
        io: 'input',
      }),
  }
}

/** Nothing is written over but by whoever has read it; a reader sees the old text or the new one, never half of it. */
function write(at: string, path: string, text: string, replaces: string | null): void {
  const exists = statSync(at, { throwIfNoEntry: false }) !== undefined
  if (replaces === null && exists)
    throw new Refused(409, 'exists', `${path} is there already, and nothing is written over.`, {
      remedy: 'Read it, and write with its hash; or choose another name.',
      where: path,
    })
  if (replaces !== null && (!exists || hashOf(readFileSync(at, 'utf8')) !== replaces))
    throw new Refused(409, 'changed meanwhile', `${path} is not as it was when it was read.`, {
      remedy: 'Read it again, and write with its new hash.',
      where: path,
    })
  try {
    mkdirSync(dirname(at), { recursive: true })
    if (replaces === null) writeFileSync(at, text, { flag: 'wx' })
    else {
      const whole = `${at}.${process.pid}.new`
      writeFileSync(whole, text, { flag: 'wx' })
      renameSync(whole, at)
    }
  } catch (error) {
    throw new Refused(
      409,
      'exists',
      `${path} could not be written (${error instanceof Error ? error.message : String(error)}).`,
      {
        remedy: 'Choose a place that can be written.',
        where: path,
      },
    )
  }
}

const hashOf = (text: string): string => createHash('sha256').update(text).digest('hex')

function yamlIn(folder: string, under: string, depth: number): string[] {
  if (depth > deepest) return []
  try {
    return readdirSync(join(folder, under), { withFileTypes: true })
      .filter(({ name }) => !name.startsWith('.') && name !== 'node_modules')
      .sort((a, b) => a.name.localeCompare(b.name))
      .flatMap((entry) => {
        const path = under === '' ? entry.name : `${under}/${entry.name}`
        if (entry.isDirectory()) return yamlIn(folder, path, depth + 1)
        return entry.isFile() && /\.ya?ml$/i.test(entry.name) ? [path] : []
      })
  } catch {
    // A folder that may not be looked into holds nothing that could be shown.
    return []
  }
}

function lineOf(folder: string, path: string) {
  const at = join(folder, path)
  const stat = statSync(at, { throwIfNoEntry: false })
  const bytes = stat?.size ?? 0
  const text = bytes === 0 || bytes > most_bytes ? '' : textOf(at)
  const { kind, name, says, equipment, bench } = glance(text)
  const named = (one: string | null): string | null => {
    if (one === null || (kind !== 'profile' && kind !== 'bench')) return null
    const to = resolve(dirname(at), one)
    return isWithin(folder, to) ? relative(folder, to).split(sep).join('/') : null
  }
  return {
    path,
    kind,
    name,
    bytes,
    changed: (stat?.mtime ?? new Date(0)).toISOString(),
    equipment: named(equipment),
    bench: kind === 'profile' ? named(bench) : null,
    is: kind === 'equipment' ? null : says,
  }
}

function textOf(at: string): string {
  try {
    return readFileSync(at, 'utf8')
  } catch {
    return ''
  }
}
