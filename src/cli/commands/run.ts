import { type Exit, exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import type { Io } from '../io.js'
import { energise, type EnergiseFlags } from '../live/energise.js'
import { continuable, earlierText, takenUp } from '../live/earlier.js'
import { collect, speedOf, whole } from '../live/flags.js'
import { prepare, type Prepared } from '../live/prepare.js'
import { refuse } from '../refuse.js'
import { runsFolders, runsHelp } from '../runs-folder.js'
import { objected, unattendedObjections } from '../../session/index.js'
import type { Register } from './index.js'

interface Flags extends EnergiseFlags {
  readonly bench?: string
  readonly fault: string[]
  readonly continue?: boolean
}

export const registerRun: Register = (program, io) => {
  program
    .command('run')
    .description('runs a profile for real, or on a virtual bench in real time')
    .argument('<profile>', 'profile file')
    .option('--bench <file>', 'bench file; the one the profile names unless given')
    .option('--fault <spec>', 'virtual bench only: PART:KIND[=VALUE]@WHEN, may be given again', collect, [])
    .addHelpText('after', faultHelp)
    .option('--speed <n>', 'virtual bench only: run seconds per second, 1 to 20', speedOf, 1)
    .option('--seed <n>', 'virtual bench only: draws the parts of the set', whole)
    .option(
      '--unattended',
      'nobody stays: asks a confirmation of its own, and is refused where anything it needs is missing',
    )
    .option(
      '--continue',
      'a reform that did not come to its end: go on from the last volts held to their end',
    )
    .option('--runs <dir>', runsHelp)
    .option('--log <file>', 'what the supervising process does, as JSON lines')
    .option('--json', 'one JSON document on standard output')
    .action(async (profile: string, flags: Flags) => {
      process.exitCode = await run(profile, flags, io)
    })
}

/** Says how far an earlier run of the same parts had come, and takes it up where that is asked for. */
function takeUp(prepared: Prepared, flags: Flags, io: Io): Prepared | Exit {
  const found = continuable(runsFolders(flags.runs, io), prepared.plan)
  if (found !== null) io.err(earlierText(found, flags.continue === true))
  if (flags.continue !== true) return prepared
  const taken = takenUp(prepared, found)
  return 'exit' in taken ? refuse(io, flags.json === true, taken) : taken
}

async function run(profile: string, flags: Flags, io: Io): Promise<Exit> {
  const prepared = prepare('run', profile, flags, io)
  if (typeof prepared === 'number') return prepared
  const objection = objected(unattendedObjections(prepared.plan, prepared.bench, io.env))
  if (objection !== null)
    return refuse(io, flags.json === true, {
      exit: exits.finding,
      where: prepared.bench_path,
      what: objection.what,
      ...(objection.remedy !== undefined && { remedy: objection.remedy }),
    })
  const { lifted } = prepared
  if (lifted === null) {
    if (flags.continue !== true) return energise({ command: 'run', prepared, flags }, io)
    const refusal = takenUp(prepared, null)
    return 'exit' in refusal ? refuse(io, flags.json === true, { ...refusal, where: profile }) : exits.usage
  }
  const taken = takeUp(prepared, flags, io)
  if (typeof taken === 'number') return taken
  const more = { whole: lifted.whole, lifted: lifted.profile_path }
  return energise({ command: 'run', prepared: taken, flags, ...more }, io)
}
