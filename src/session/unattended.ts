import { missingOf, placeOf } from '../alerts/index.js'
import type { Bench } from '../bench/index.js'
import type { Plan } from '../plan/index.js'
import type { NotBegun } from './types.js'

/* Why a run may not be left alone: found in the plan, or on this computer in this start. Each says what to do about it. */

/** Everything that can be told before anything is opened, one sentence each; none where somebody stays. */
export function unattendedObjections(
  plan: Plan,
  { alerts = [] }: Bench,
  env: Readonly<Record<string, string | undefined>>,
): readonly string[] {
  if (plan.unattended === undefined) return []
  const unset = alerts.flatMap((target) => {
    const missing = missingOf(target, env)
    return missing.length === 0
      ? []
      : [
          `${missing.join(', ')} is not set, so ${placeOf(target).name} would be told nothing: set it where slowglow is started.`,
        ]
  })
  return [...plan.unattended.refused.map(({ what, remedy }) => `${what}: ${remedy}.`), ...unset]
}

/** Where alerts of runs on this bench go, as they are called. */
export const placesTold = ({ alerts = [] }: Bench): readonly string[] =>
  alerts.map((target) => placeOf(target).name)

const refused = (what: string, remedy: string): NotBegun => ({
  kind: 'not begun',
  why: 'not to be left alone',
  what: `This run may not be left alone${what} Nothing was energised.`,
  remedy: `${remedy}, or run it without --unattended and stay.`,
})

export const objected = (objections: readonly string[]): NotBegun | null =>
  objections.length === 0
    ? null
    : refused(`:\n${objections.map((text) => `- ${text}`).join('\n')}\n`, 'Mend what is named')

export const unconfirmed: NotBegun = refused(
  ': what that needs was not confirmed in this start.',
  'Confirm it with the word that is drawn for it',
)

export const sleeps = (why: string): NotBegun =>
  refused(
    `: nothing keeps this computer from going to sleep (${why}).`,
    'Use a computer whose system has systemd-inhibit and its login service, where this user may inhibit sleep, shutdown and what a closed lid does',
  )

export const noReserve = (troubles: readonly string[]): NotBegun | null =>
  troubles.length === 0
    ? null
    : refused(
        `: no connection is held in reserve (${troubles.join('; ')}), so a lost controller would be taken over too late.`,
        'Look why that line takes no second connection',
      )

/** Whoever is to be told must be told once, while somebody is still there to mend it. */
export const unheard = (troubles: readonly string[]): NotBegun | null =>
  troubles.length === 0
    ? null
    : refused(
        `: an alert on trial did not arrive everywhere (${troubles.join('; ')}).`,
        'Mend that place, or take it out of alerts: in the bench file knowingly',
      )
