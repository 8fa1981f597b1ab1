import { type Exit, exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import type { Io } from '../io.js'
import { energise, type EnergiseFlags } from '../live/energise.js'
import { continuable, earlierText } from '../live/earlier.js'
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

const nothingToContinue = {
  exit: exits.usage,
  what: 'There is no reform of this profile that was left unfinished, so there is nothing to continue.',
  remedy: 'Leave --continue out.',
} as const

/** Says how far an earlier run of the same parts had come, and takes it up where that is asked for. */
function takeUp(prepared: Prepared, flags: Flags, io: Io): Prepared | Exit {
  const json = flags.json === true
  const found = continuable(runsFolders(flags.runs, io), prepared.plan)
  if (found === null) return flags.continue === true ? refuse(io, json, nothingToContinue) : prepared
  io.err(earlierText(found, flags.continue === true))
  if (flags.continue !== true || prepared.lifted === null) return prepared
  const { earlier, why_not } = found
  if (earlier === null)
    return refuse(io, json, { exit: exits.finding, ...(why_not ?? { what: 'It cannot be taken up.' }) })
  const { plan, problems } = prepared.lifted.again(earlier)
  if (plan !== null) return { ...prepared, plan }
  return refuse(io, json, { exit: exits.finding, what: 'It cannot be taken up.', problems })
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
    return refuse(io, flags.json === true, { ...nothingToContinue, where: profile })
  }
  const taken = takeUp(prepared, flags, io)
  if (typeof taken === 'number') return taken
  const more = { whole: lifted.whole, lifted: lifted.profile_path }
  return energise({ command: 'run', prepared: taken, flags, ...more }, io)
}
