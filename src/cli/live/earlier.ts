import { formatShort } from '../../quantities/index.js'
import { formedIn, type FormedStory, lastRunOf } from '../../record/index.js'
import type { Plan } from '../../plan/index.js'

/** A reform of the same parts that did not come to its end: how far each part had come. */
export interface EarlierForming {
  readonly run: string
  readonly parts: readonly FormedStory[]
}

/** The set's last run in these folders, where it was this profile's reform of these parts and left some of them unfinished. */
export function earlierForming(folders: readonly string[], plan: Plan): EarlierForming | null {
  const last = lastRunOf(folders, plan.equipment)
  if (last === null || last.known.plan.profile !== plan.profile) return null
  return unfinished(last.known.run, formedIn(last.known.plan, last.events), plan)
}

export function unfinished(run: string, parts: readonly FormedStory[], plan: Plan): EarlierForming | null {
  const same = (plan.reform?.parts ?? []).map(({ name }) => name)
  const mine = parts.filter(({ part }) => same.includes(part))
  const open = mine.some(({ verdict, formed_V }) => verdict === 'not finished' && formed_V > 0)
  return open && mine.length === same.length ? { run, parts: mine } : null
}

/** How far it had come, and what may be done about it: nothing goes on by itself. */
export function earlierText({ run, parts }: EarlierForming, continued: boolean): string {
  const each = parts.map(({ part, verdict, formed_V, code }) =>
    verdict === 'not finished'
      ? `${part} was held to its end at ${formatShort(formed_V, 'V')}`
      : `${part} was told ${verdict}${code === null ? '' : ` (${code})`}`,
  )
  const then = continued
    ? 'It is taken up there, after a fresh check at the lowest step.'
    : 'This run begins from below. --continue takes it up at the lowest of these, after a fresh check at the lowest step.'
  return `The last run of this profile (${run}) did not come to its end: ${each.join('; ')}. ${then}`
}

/** Volts to go on from, or why not. */
export function takenUp({
  run,
  parts,
}: EarlierForming):
  | { readonly earlier: { readonly run: string; readonly formed_V: Readonly<Record<string, number>> } }
  | { readonly what: string; readonly remedy: string } {
  const bad = parts
    .filter(({ verdict }) => verdict === 'replace' || verdict === 'not judged')
    .map(({ part }) => part)
  if (bad.length > 0)
    return {
      what: `${bad.join(', ')} ${bad.length === 1 ? 'was' : 'were'} given up in ${run}, and is not taken up again with the others.`,
      remedy:
        'Take it off the bench and out of parts: in the profile; then --continue goes on with the rest.',
    }
  return {
    earlier: { run, formed_V: Object.fromEntries(parts.map(({ part, formed_V }) => [part, formed_V])) },
  }
}
