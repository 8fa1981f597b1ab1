import { createHash } from 'node:crypto'
import { readdirSync, readFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { fileURLToPath } from 'node:url'

/** The version of the program. */
export const programVersion = '0.1.0'

/** The rooms whose code decides what a run does with a given plan: what the sequencer may import, and how its ending is told. */
const deciding = ['exchange', 'off', 'plan', 'quantities', 'sequencer', 'story']

/**
 * Version of the program and of its decisions, as semantic versioning's build metadata: `0.1.0+decisions.3fa2c19b04de`, the
 * first 48 bits of a SHA-256 over the code of the deciding rooms as it runs. Kept in every run file: where it is the same, a
 * replay must agree to the last digit; where it is not, a difference is news and no fault.
 */
export function versionOf(): string {
  return (version ??= `${programVersion}+decisions.${hashOf(deciding)}`)
}
let version: string | null = null

function hashOf(rooms: readonly string[]): string {
  const root = join(dirname(fileURLToPath(import.meta.url)), '..')
  const hash = createHash('sha256')
  for (const room of rooms)
    for (const name of readdirSync(join(root, room)).sort())
      if (/\.[jt]s$/.test(name)) hash.update(`${room}/${name}\0`).update(readFileSync(join(root, room, name)))
  return hash.digest('hex').slice(0, 12)
}
