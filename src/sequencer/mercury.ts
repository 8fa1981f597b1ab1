import type { HeaterWatch } from '../plan/index.js'
import { warmUp_s } from './interlocks.js'
import { ask, closePrompt, confirm } from './prompts.js'
import { record } from './send.js'
import type { Draft, State } from './state.js'

/**
 * Mercury-vapour rectifiers: whether they stand as they last worked, only the person can say. Until that is said, and
 * whenever it is not, their filaments heat alone for the long time.
 */

/** Looking at bulbs and thinking back; nothing is energised meanwhile. */
const answerWithin_s = 3600

function asked(s: State): HeaterWatch[] {
  const untold = s.plan.heaters.filter(({ mercury }) => mercury !== undefined && mercury.stated === null)
  return untold.length > 0 && s.plan.steps.some((step) => step.needs_heaters) ? untold : []
}

/** True once the person has said how the mercury-vapour rectifiers stand; until then the question is open. */
export function mercuryAnswered(d: Draft): boolean {
  if (d.s.mercury !== 'not asked' || d.s.plan.heaters.length === 0) return true
  const watches = asked(d.s)
  if (watches.length === 0) return true
  if (d.s.prompt) return false
  const tubes = watches.flatMap(({ mercury }) => mercury?.tubes ?? []).join(', ')
  const long_min = Math.round(Math.max(...watches.map(({ mercury }) => mercury?.first_use_s ?? 0)) / 60)
  const short_s = Math.max(...watches.map(({ warm_up_s }) => warm_up_s))
  const low_C = Math.max(...watches.map(({ mercury }) => mercury?.condensed_low_C ?? 0))
  const last =
    d.s.wires_as_in === null
      ? 'No earlier run with this hook-up is on record.'
      : `The last run with this hook-up was ${d.s.wires_as_in}.`
  ask(
    d,
    { kind: 'mercury' },
    {
      ...confirm(
        `Mercury-vapour rectifier ${tubes}: has it worked before, has it stood upright in its socket ever since, set and all, and is it at ${low_C} °C or more where it stands? ${last} (y: its filament heats alone for ${short_s} s before any HT. n, or not sure: for ${long_min} min.)`,
        'mercury',
      ),
      timeout_s: answerWithin_s,
    },
  )
  return false
}

/** What the person said of the mercury. */
export function mercuryStands(d: Draft, asItWorked: boolean): void {
  if (!asItWorked) closePrompt(d, 'new, moved, cold, or not sure')
  // As with the hook-up: thinking back is not held against the run's budget.
  d.s.begun_us = d.s.t_us
  d.s.part_us = d.s.t_us
  d.s.mercury = asItWorked ? 'as it worked' : 'disturbed'
  const waits = asked(d.s).map(
    (watch) => `${watch.mercury?.tubes.join(', ') ?? watch.chain}: ${Math.round(warmUp_s(d.s, watch))} s`,
  )
  record(
    d,
    'judgement',
    `Mercury-vapour rectifiers ${asItWorked ? 'stand as they last worked' : 'are new, were moved or are cold, or the person is not sure'}; filament alone before any HT: ${waits.join('; ')}.`,
    { data: { mercury: d.s.mercury } },
  )
}
