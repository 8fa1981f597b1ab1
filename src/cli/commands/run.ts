import { faultHelp } from '../fault-help.js'
import type { Io } from '../io.js'
import { energise, type EnergiseFlags } from '../live/energise.js'
import { collect, speedOf, whole } from '../live/flags.js'
import { prepare } from '../live/prepare.js'
import { objected, unattendedObjections } from '../../session/index.js'
import { type Exit, exits } from '../exits.js'
import { refuse } from '../refuse.js'
import { runsHelp } from '../runs-folder.js'
import type { Register } from './index.js'

interface Flags extends EnergiseFlags {
  readonly bench?: string
  readonly fault: string[]
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
    .option('--runs <dir>', runsHelp)
    .option('--log <file>', 'what the supervising process does, as JSON lines')
    .option('--json', 'one JSON document on standard output')
    .action(async (profile: string, flags: Flags) => {
      process.exitCode = await run(profile, flags, io)
    })
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
  return energise({ command: 'run', prepared, flags }, io)
}
