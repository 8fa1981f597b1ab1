import { existsSync, readFileSync, renameSync, rmSync, writeFileSync } from 'node:fs'
import { basename, dirname, join, resolve } from 'node:path'
import { stringify } from 'yaml'
import { type Qualification, qualificationShape } from '../qualify/index.js'
import { parseYaml } from './yaml.js'

/** Beside the bench file, by its name, unless the bench file names another. */
export function qualificationPath(benchPath: string, named: string | null): string {
  if (named !== null) return resolve(dirname(benchPath), named)
  return join(dirname(benchPath), `${basename(benchPath).replace(/\.ya?ml$/i, '')}.qualification.yaml`)
}

/** Null where there is none; a trouble where there is one that cannot be used. */
export function readQualification(
  path: string,
): { readonly value: Qualification | null; readonly text: string } | { readonly trouble: string } {
  if (!existsSync(path)) return { value: null, text: '' }
  let text: string
  try {
    text = readFileSync(path, 'utf8')
  } catch (error) {
    return { trouble: error instanceof Error ? error.message : String(error) }
  }
  const parsed = parseYaml(text, path)
  const [problem] = parsed.problems
  if (problem !== undefined) return { trouble: `line ${problem.line}: ${problem.what}` }
  const read = qualificationShape.safeParse(parsed.raw)
  if (read.success) return { value: read.data, text }
  const issue = read.error.issues[0]
  return { trouble: `${issue?.path.join('.') ?? ''}: ${issue?.message ?? 'not understood'}` }
}

const heading = `# Written by slowglow qualify, from measurements on a dummy load. Figures are in V, A, s and F; each says how it was
# measured and how far it may be off. Measure again after a repair, with another supply, or after a year.
`

export function qualificationFile(value: Qualification): string {
  return heading + stringify(value, { lineWidth: 120 })
}

/** Whole or not at all: a half-written one would make every supply of the bench count as never measured. */
export function writeQualification(path: string, value: Qualification): void {
  const whole = `${path}.${process.pid}`
  try {
    writeFileSync(whole, qualificationFile(value), { flush: true })
    renameSync(whole, path)
  } catch (error) {
    rmSync(whole, { force: true })
    throw error
  }
}
