import type { Texts } from '../../files/index.js'
import type { Plan } from '../../plan/index.js'
import { type RunReader, RecordTrouble } from '../../record/index.js'
import {
  type Exactly,
  type HeldFrom,
  limitsInForce,
  replayExactly,
  replayWith,
  type WithLimits,
} from '../../replay/index.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { notPlanned, planFiles } from '../plan-files.js'
import { elapsed, exactText, otherText } from '../replay-text.js'
import { type Refusal, refuse } from '../refuse.js'
import { versionOf } from '../version.js'
import { withRun } from '../with-run.js'
import type { Register } from './index.js'

interface Options {
  readonly profile?: string
  readonly bench?: string
  readonly json?: boolean
}

/** `slowglow replay RUN`: the recorded run through today's decisions, or judged by other limits. Touches no port. */
export const registerReplay: Register = (program, io) => {
  program
    .command('replay')
    .description(
      'a recorded run through today’s decisions, or other limits: where would it have gone differently',
    )
    .argument('<run>', 'run file, or a piece of its name among the runs')
    .option('--profile <file>', 'judge it by the plan that this profile makes now')
    .option('--bench <file>', 'with --profile: bench file in place of the one the profile names')
    .option('--json', 'one JSON document on standard output')
    .action((run: string, options: Options) => {
      process.exitCode = withRun(run, options.json === true, io, (reader) => replayed(reader, options, io))
    })
}

function replayed(reader: RunReader, options: Options, io: Io): Exit {
  const found = replayOf(reader, options, io)
  const json = options.json === true
  if ('exit' in found) return refuse(io, json, found)
  if (json) printJson(io, found.document)
  else io.out(found.text)
  return found.document.agrees ? exits.done : exits.finding
}

interface Replayed {
  readonly document: Readonly<Record<string, unknown>> & {
    readonly run: string
    readonly versions: { readonly recorded: string; readonly now: string }
    readonly agrees: boolean
    readonly difference: (Readonly<Record<string, unknown>> & { readonly t_s: number }) | null
    readonly gap: string | null
  }
  /** The same in words. */
  readonly text: string
}

/** What today's decisions, or those of another plan, make of a record; or why that cannot be said. */
export function replayOf(
  reader: RunReader,
  options: Omit<Options, 'json'>,
  io: Pick<Io, 'cwd' | 'env'>,
  texts?: Texts,
): Replayed | Refusal {
  const known = reader.known()
  if (known === null)
    return {
      exit: exits.recordNotAvailable,
      where: reader.path,
      what: 'This record does not say which plan was run, so nothing can be held against it.',
    }
  const versions = { recorded: known.version, now: versionOf() }
  const document = { run: known.run, file: reader.path, versions }
  if (options.profile === undefined) {
    const from = known.command === 'rehearse' ? 'rehearsal' : 'controller'
    const result = guarded<Exactly>(
      () => whole(reader, replayExactly(known.plan, reader.entries(), from)),
      (gap) => ({ fed: 0, same: 0, difference: null, gap, ends_early: null }),
    )
    return {
      document: { ...document, ...seconds(result), agrees: agrees(result) },
      text: exactText(result, known.run, versions),
    }
  }
  const planned = planFiles(options.profile, options.bench, io.cwd, io.env, texts)
  const { plan } = planned
  const refusal = notPlanned(planned, 'replay', options.profile) ?? misfit(known.plan, plan, options.profile)
  if (refusal !== null) return refusal
  if (plan === null) throw new Error('A plan without an error is there.')
  const result = guarded<WithLimits>(
    () => whole(reader, replayWith(plan, reader.entries())),
    (gap) => ({ fed: 0, difference: null, gap, ends_early: null }),
  )
  return {
    document: {
      ...document,
      profile: plan.profile,
      plan: plan.hash,
      ...seconds(result),
      agrees: agrees(result),
    },
    text: otherText(result, known.run, options.profile),
  }
}

/**
 * What each rail was held against at every moment, by the record fed again; `gap`: why that is not known, or how far it is. With
 * other decisions today than those recorded, nothing of it was so.
 */
export function inForceIn(reader: RunReader): {
  readonly rails: Readonly<Record<string, readonly HeldFrom[]>>
  readonly gap: string | null
} {
  const known = reader.known()
  if (known === null) return { rails: {}, gap: 'This record does not say which plan was run.' }
  let rails: Readonly<Record<string, readonly HeldFrom[]>> = {}
  const from = known.command === 'rehearse' ? 'rehearsal' : 'controller'
  const result = guarded<Exactly>(
    () => {
      const found = limitsInForce(known.plan, reader.entries(), from)
      ;({ rails } = found)
      return whole(reader, found.replayed)
    },
    (gap) => ({ fed: 0, same: 0, difference: null, gap, ends_early: null }),
  )
  if (result.difference === null) return { rails, gap: result.gap }
  return {
    rails: {},
    gap: `Today’s decisions are others than those of ${known.version} at ${elapsed(result.difference.t_us)}, so what was in force between is not known.`,
  }
}

const agrees = ({ difference, gap }: Exactly | WithLimits): boolean => difference === null && gap === null

/** Times in seconds, as every JSON document here has them. */
function seconds<T extends Exactly | WithLimits>({ difference, ...rest }: T) {
  if (difference === null) return { ...rest, difference }
  const { t_us, ...what } = difference
  return { ...rest, difference: { t_s: t_us / 1e6, at: elapsed(t_us), ...what } }
}

/** With parts missing of what was fed, what today's decisions make of the rest says nothing. */
function whole<T extends Exactly | WithLimits>(reader: RunReader, result: T): T {
  // It stops where it first goes another way; whether that is the damage's doing is known when all was looked at.
  if (result.difference !== null) {
    const all = reader.entries()
    while (all.next().done !== true);
  }
  const damage = reader.damage()
  if (damage.length === 0) return result
  const gap = `Parts of this record cannot be read, so nothing is said of the rest: ${damage.join('; ')}.`
  return { ...result, difference: null, gap }
}

/** A plan of another time may lack what today's code relies on: that is a finding about the record, not a crash. */
function guarded<T>(work: () => T, gap: (text: string) => T): T {
  try {
    return work()
  } catch (error) {
    if (error instanceof RecordTrouble || !(error instanceof Error)) throw error
    return gap(`Today’s code cannot follow the plan in this record: ${error.message}.`)
  }
}

/** Readings of one bench say nothing to a plan for another. */
function misfit(recorded: Plan, now: Plan | null, profile: string) {
  if (now === null) return null
  const lack = channelsOf(recorded).filter((channel) => !channelsOf(now).includes(channel))
  if (lack.length === 0) return null
  return {
    exit: exits.usage,
    where: profile,
    what: `The recorded run read ${lack.join(', ')}, and the plan of ${profile} has no such channel.`,
    remedy: 'Give a profile for the same rails and bench.',
  }
}
const channelsOf = (plan: Plan): string[] => [
  ...Object.values(plan.rails).flatMap(({ channels }) => channels.map(({ channel }) => channel)),
  ...Object.keys(plan.meters),
]
