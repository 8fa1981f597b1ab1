import { existsSync, mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import * as z from 'zod'
import type { OwnerCheck } from '../../tubes/index.js'

/*
 * The owner's own file of checked figures: in their data folder, or beside a set's files, where it goes with the set.
 */

const fileName = 'tube-checks.json'
const shape = z.strictObject({
  slowglow: z.literal('tube checks 1'),
  checks: z.array(
    z.strictObject({
      type: z.string().min(1),
      figure: z.string().min(1),
      value: z.union([z.number(), z.enum(['absolute', 'design-maximum', 'design-centre'])]),
      sheet: z.string().min(1),
      on: z.iso.date(),
    }),
  ),
})

/**
 * Where checks are kept: in `folder`, or in the owner's data folder ($XDG_DATA_HOME, else .local/share in their home);
 * null where there is neither.
 */
export function checksPath(
  env: Readonly<Record<string, string | undefined>>,
  folder?: string,
): string | null {
  if (folder !== undefined) return join(folder, fileName)
  const data = env['XDG_DATA_HOME'] ?? ''
  const home = env['HOME'] ?? ''
  if (data === '' && home === '') return null
  return join(data === '' ? join(home, '.local', 'share') : data, 'slowglow', fileName)
}

/** The checks of a file, none where there is no file; `trouble` where it cannot be read or is no such file. */
export function readChecks(path: string | null): {
  readonly checks: readonly OwnerCheck[]
  readonly trouble: string | null
  /** As it was read, for the record of a run whose limits rest on it. */
  readonly file: { readonly path: string; readonly text: string } | null
} {
  if (path === null || !existsSync(path)) return { checks: [], trouble: null, file: null }
  let file = null
  try {
    const text = readFileSync(path, 'utf8')
    file = { path, text }
    const read = shape.safeParse(JSON.parse(text))
    if (read.success) return { checks: read.data.checks, trouble: null, file }
    const [first] = read.error.issues
    return {
      checks: [],
      file,
      trouble: `${path} is no file of tube checks: ${first?.path.join('.') ?? ''} ${first?.message ?? ''}`,
    }
  } catch (error) {
    return {
      checks: [],
      file,
      trouble: `${path} cannot be read: ${error instanceof Error ? error.message : String(error)}`,
    }
  }
}

/** Adds checks to a file; written beside it first, so that a full disk loses none. Throws what the file system says. */
export function addChecks(path: string, before: readonly OwnerCheck[], added: readonly OwnerCheck[]): void {
  mkdirSync(dirname(path), { recursive: true })
  const text = JSON.stringify({ slowglow: 'tube checks 1', checks: [...before, ...added] }, null, 2)
  writeFileSync(`${path}.new`, `${text}\n`)
  renameSync(`${path}.new`, path)
}
