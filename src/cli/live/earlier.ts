import { resolve } from 'node:path'
import { formatQuantity, formatShort } from '../../quantities/index.js'
import {
  findRun,
  formedIn,
  type FormedStory,
  formingTimeOf,
  lastRunOf,
  openRunFile,
  runsOfSet,
} from '../../record/index.js'
import type { Plan } from '../../plan/index.js'
import type { Earlier, Experience } from '../../reform/index.js'
import { exits } from '../exits.js'
import type { Refusal } from '../refuse.js'
import type { Prepared } from './prepare.js'

/*
 * What earlier reforms of a set tell: how long they took, and how far one had come that did not come to its end. Nothing goes on
 * by itself: it is shown, and taken up where a person asks for that.
 */

/** A reform of the same parts that did not come to its end, as plain data: for terminal and page alike. */
export interface Continuable {
  readonly run: string
  /** When it was begun. */
  readonly started: string
  readonly parts: readonly {
    readonly part: string
    readonly verdict: FormedStory['verdict']
    readonly code: string | null
    /** The last volts on its feed resistor that were held to their end. */
    readonly held_V: number
  }[]
  /** How far each part had come, in a sentence. */
  readonly text: string
  /** What a plan takes up (`Lifted.again`); null where it may not be, with the reason and what to do. */
  readonly earlier: Earlier | null
  readonly why_not: { readonly what: string; readonly remedy: string } | null
  /** What going on would do, in a sentence. */
  readonly offer: string
}

/**
 * The set's last run in these folders, where it was this profile's reform of these parts and left some of them unfinished. A start of it
 * that ended before anything was told of any part is no run of these parts: the night before it is not lost by that.
 */
export function continuable(folders: readonly string[], plan: Plan): Continuable | null {
  const last = lastRunOf(
    folders,
    plan.equipment,
    (known, events) =>
      known.plan.profile !== plan.profile ||
      known.plan.reform === undefined ||
      events.some(({ what }) => what === 'judgement'),
  )
  if (last === null || last.known.plan.profile !== plan.profile) return null
  return unfinished(last.known, formedIn(last.known.plan, last.events), plan)
}

/** The same of one run by its name or file; a sentence where there is nothing to take up. `rehearsed`: it may be a rehearsal. */
export function continuableRun(
  words: string,
  folder: string,
  cwd: string,
  plan: Plan,
  rehearsed = true,
): Continuable | { readonly trouble: string } {
  const found = findRun(words, folder, cwd)
  if ('trouble' in found) return found
  const opened = openRunFile(resolve(cwd, found.path))
  if ('trouble' in opened) return opened
  const { reader } = opened
  try {
    const known = reader.known()
    if (known === null) return { trouble: `${words} does not tell what was run.` }
    if (!rehearsed && known.command !== 'run')
      return { trouble: `${words} was no run: its parts were not formed by it.` }
    if (known.plan.equipment !== plan.equipment)
      return { trouble: `${words} is a run of ${known.plan.equipment}, not of ${plan.equipment}.` }
    return (
      unfinished(known, formedIn(known.plan, reader.told()), plan, Date.now(), 'The run') ?? {
        trouble: `${words} left no part of this profile unfinished with volts that it was held at to the end.`,
      }
    )
  } finally {
    reader.close()
  }
}

export function unfinished(
  { run, started }: { readonly run: string; readonly started: string },
  formed: readonly FormedStory[],
  plan: Plan,
  now_ms = Date.now(),
  which: 'The last run' | 'The run' = 'The last run',
): Continuable | null {
  const same = (plan.reform?.parts ?? []).map(({ name }) => name)
  const mine = formed.filter(({ part }) => same.includes(part))
  const open = mine.filter(({ verdict, formed_V }) => verdict === 'not finished' && formed_V > 0)
  if (open.length === 0 || mine.length !== same.length) return null
  const parts = mine.map(({ part, verdict, code, formed_V }) => ({ part, verdict, code, held_V: formed_V }))
  const each = parts.map(({ part, verdict, held_V, code }) =>
    verdict === 'not finished'
      ? `${part} was held to its end at ${formatShort(held_V, 'V')}`
      : `${part} was told ${verdict}${code === null ? '' : ` (${code})`}`,
  )
  const bad = mine.filter(({ verdict }) => verdict === 'replace' || verdict === 'not judged')
  const from_V = Math.min(...mine.map(({ formed_V }) => formed_V))
  const old_days = (now_ms - Date.parse(started)) / 86_400_000
  const why_not = bad.length > 0 ? notWith(run, bad) : old_days > oldest_days ? tooOld(run, old_days) : null
  return {
    run,
    started,
    parts,
    text: `${which} of this profile (${run}) did not come to its end: ${each.join('; ')}.`,
    earlier:
      why_not !== null
        ? null
        : { run, formed_V: Object.fromEntries(mine.map(({ part, formed_V }) => [part, formed_V])) },
    why_not,
    offer: `It goes on from ${formatQuantity(from_V, 'V')}, the lowest of these, after the wires are proved and a fresh check at the lowest step.`,
  }
}

/** Oxide that was half formed and then left goes back; how fast no source says. So old a run is begun again from below (our choice). */
const oldest_days = 30

const tooOld = (run: string, days: number): { readonly what: string; readonly remedy: string } => ({
  what: `${run} is ${Math.floor(days)} days old, and what was formed then has gone back meanwhile: it is not taken up after more than ${oldest_days} days (our choice).`,
  remedy: 'Leave --continue out: the parts begin from below.',
})

function notWith(
  run: string,
  bad: readonly FormedStory[],
): { readonly what: string; readonly remedy: string } {
  const names = bad.map(({ part }) => part).join(', ')
  return {
    what: `${names} ${bad.length === 1 ? 'was' : 'were'} given up in ${run}, and is not taken up again with the others.`,
    remedy: 'Take it off the bench and out of parts: in the profile; then --continue goes on with the rest.',
  }
}

/** How far it had come, and what may be done about it. */
export function earlierText({ text }: Continuable, continued: boolean): string {
  const then = continued
    ? 'It is taken up there, after a fresh check at the lowest step.'
    : 'This run begins from below. --continue takes it up at the lowest of these, after a fresh check at the lowest step.'
  return `${text} ${then}`
}

/** Of how many of its earlier reforms the slowest counts. */
const lately = 5

/** How long this set's earlier reforms took of any of these parts; null where there is none that came to its last volts. */
export function experienceOf(
  folders: readonly string[],
  equipment: string,
  parts: readonly string[],
): Experience | null {
  const times = runsOfSet(folders, equipment)
    .flatMap(({ known, events }) => {
      const time = formingTimeOf(known.plan, events)
      return time === null || !time.parts.some((part) => parts.includes(part))
        ? []
        : [{ ...time, run: known.run }]
    })
    .slice(0, lately)
  const [slowest] = times.toSorted((a, b) => b.climb_s + b.longer_s - (a.climb_s + a.longer_s))
  if (slowest === undefined) return null
  const { climb_s, longer_s, run } = slowest
  return { climb_s, longer_s, run, of: times.length }
}

const nothingToContinue: Refusal = {
  exit: exits.usage,
  what: 'There is no reform of this profile that was left unfinished, so there is nothing to continue.',
  remedy: 'Leave --continue out.',
}

/** The plan that goes on where an unfinished reform stopped; why there is none. */
export function takenUp(prepared: Prepared, found: Continuable | null): Prepared | Refusal {
  if (found === null || prepared.lifted === null) return nothingToContinue
  const { earlier, why_not } = found
  if (earlier === null) return { exit: exits.finding, ...(why_not ?? { what: 'It cannot be taken up.' }) }
  const { plan, problems } = prepared.lifted.again(earlier)
  return plan === null
    ? { exit: exits.finding, what: 'It cannot be taken up.', problems }
    : { ...prepared, plan }
}
