import { type Exit, exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import type { Io } from '../io.js'
import { energise, type EnergiseFlags } from '../live/energise.js'
import { type Continuable, continuable, continuableRun, earlierText, takenUp } from '../live/earlier.js'
import type { Plan } from '../../plan/index.js'
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
  readonly from?: string
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
    .option('--from <run>', 'with --continue: that run, where it is not the last one')
    .option('--runs <dir>', runsHelp)
    .option('--log <file>', 'what the supervising process does, as JSON lines')
    .option('--json', 'one JSON document on standard output')
    .action(async (profile: string, flags: Flags) => {
      process.exitCode = await run(profile, flags, io)
    })
}

/** Says how far an earlier run of the same parts had come, and takes it up where that is asked for. */
function takeUp(prepared: Prepared, flags: Flags, io: Io): Prepared | Exit {
  const folders = runsFolders(flags.runs, io)
  const found =
    flags.from === undefined
      ? continuable(folders, prepared.plan)
      : named(flags.from, folders, prepared.plan, io)
  if (found !== null && 'trouble' in found)
    return refuse(io, flags.json === true, {
      exit: exits.usage,
      what: found.trouble,
      remedy: 'Name another run, or leave --from out.',
    })
  if (found !== null) io.err(earlierText(found, flags.continue === true))
  if (flags.continue !== true) return prepared
  const taken = takenUp(prepared, found)
  return 'exit' in taken ? refuse(io, flags.json === true, taken) : taken
}

/** In the first of these folders that has it. */
function named(
  words: string,
  folders: readonly string[],
  plan: Plan,
  { cwd }: Io,
): Continuable | { readonly trouble: string } {
  let trouble = `There is no run ${words}.`
  for (const folder of folders) {
    const found = continuableRun(words, folder, cwd, plan, false)
    if (!('trouble' in found)) return found
    trouble = found.trouble
  }
  return { trouble }
}

async function run(profile: string, flags: Flags, io: Io): Promise<Exit> {
  if (flags.from !== undefined && flags.continue !== true)
    return refuse(io, flags.json === true, {
      exit: exits.usage,
      what: '--from says which run is taken up, and --continue that one is: the one without the other begins from below.',
      remedy: 'Write both, or neither.',
    })
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
