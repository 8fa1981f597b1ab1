import { readRun, whereIsRun } from '../../record/index.js'
import type { Life } from './book-text.js'

/** With which supplies a run was made and by which plan's limits, as its own file has it. */
export function runFacts({ entries }: Pick<Life, 'entries'>, run: string): string {
  const body = entries.find((each) => each.body.kind === 'run' && each.body.run === run)?.body
  const file = body?.kind === 'run' ? whereIsRun(body.file) : null
  const read = file === null ? null : readRun(file, (reader) => reader.known())
  const known = read !== null && 'value' in read ? read.value : null
  if (known === null) return 'its run file is not found, or cannot be read'
  const { plan, identities } = known
  const supplies = Object.entries(identities).map(([port, identity]) => `${port}: ${identity}`)
  return [
    `bench ${plan.bench}`,
    ...supplies,
    `limits of plan ${plan.hash.slice(0, 12)}, in the run's report`,
  ].join('; ')
}
