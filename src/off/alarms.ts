import type { OffPlan } from '../plan/index.js'
import { comesDown } from './confirm.js'
import { lastRead } from './heard.js'
import { change, isBias, isFresh, isHeater, isHot, of, railsOf, record, us } from './rails.js'
import type { Draft, OffRail } from './types.js'

/** An output that is not confirmed off by then is alarmed: architecture.md, invariant 8. */
export const fallWithin_s = 10
const escalateEvery_s = 3
/** So often where nothing answers; what answers is told until it is off: a line may come back after the last of these. */
const unanswered_most = 8
/** A person turns a knob slower than a relay opens. */
const knobWithin_s = 30

/** What is on somebody's knob can only be asked for. Once a rail. */
export function callKnobs(d: Draft, which: readonly OffRail[], when: string, hands: boolean): void {
  for (const rail of which) {
    if (rail.class === 'programmed' || d.s.knob_alarms.includes(rail.name)) continue
    const knob = d.s.knobs[rail.name] ?? 'unknown'
    if (rail.class === 'hand' && !hands) continue
    // A watched rail of which nothing is known yet is about to be read.
    if (knob === 'down' || (knob === 'unknown' && rail.class === 'watched')) continue
    d.s.knob_alarms = [...d.s.knob_alarms, rail.name]
    d.out.push({
      do: 'alarm',
      rail: rail.name,
      text: `Turn ${rail.name} down to zero by its knob ${when}.`,
      turn_down: true,
    })
  }
}

/**
 * Where nobody can be asked, the bias goes off by the clock from under HT on a person's own knob: said before it is too late to do
 * something about it. Null where no bias does.
 */
export function biasTakenFromKnob(plan: OffPlan): string | null {
  const rails = railsOf(plan)
  const knobs = rails.filter((rail) => isHot(rail) && rail.class === 'hand').map(({ name }) => name)
  const heaters = rails.filter(isHeater)
  const goes =
    rails.some((rail) => isBias(rail) && rail.channels.length > 0) &&
    heaters.length > 0 &&
    heaters.every((rail) => rail.class !== 'hand')
  if (knobs.length === 0 || !goes) return null
  return `${knobs.join(', ')}: on your own knob, which nothing here switches or measures. Turn it down to zero, one hand, and switch its mains off now: ${Math.round(plan.bias_release.cathodes_cold_s)} s after the heaters are off the bias goes off too, whether or not it is down.`
}

/** What does not confirm is told again by every means the supply has. */
export function escalate(d: Draft, rail: OffRail, plan: OffPlan): void {
  const known = of(d.s, rail)
  const since_us = known.escalated_us ?? known.given_us
  if (rail.channels.length === 0 || since_us === null || typeof d.s.confirmed[rail.name] === 'string') return
  if (d.s.t_us - since_us < us(escalateEvery_s)) return
  const answers = known.V !== null && isFresh(d, plan, rail, known.V)
  if (known.escalations >= unanswered_most && !answers) return
  if (known.escalations > 0 && comesDown(d, rail)) return
  change(d, rail, { escalations: known.escalations + 1, escalated_us: d.s.t_us })
  if (known.escalations === 0)
    record(
      d,
      rail.name,
      `${rail.name} is not confirmed off yet (${lastRead(d, rail)}): set-point and limit to zero, OFF again.`,
    )
  const channels = rail.channels.map(({ channel }) => channel)
  // OFF before zero: the line puts the urgent one first in any case.
  if (isHot(rail)) d.out.push({ do: 'urgent off', channels })
  else for (const channel of channels) d.out.push({ do: 'off', channel })
  for (const channel of channels) d.out.push({ do: 'zero', channel })
}

/**
 * One alarm a rail: an output not confirmed off within its time, put off only as long as the computed fall goes on; a
 * second one where it was confirmed and came back while nothing holds the tubes any more.
 */
export function alarm(d: Draft, rail: OffRail): void {
  const known = of(d.s, rail)
  if (rail.class === 'hand' || known.given_us === null || typeof d.s.confirmed[rail.name] === 'string') return
  if (known.alarmed_us !== null) return
  const within_s = rail.class === 'watched' ? knobWithin_s : fallWithin_s
  const late = d.s.t_us - known.given_us >= us(within_s) && !comesDown(d, rail)
  const again = isHot(rail) && (known.retracted > 1 || (known.retracted > 0 && d.s.bias_released_by !== null))
  if (late || again) callFor(d, rail)
}

export function callFor(d: Draft, rail: OffRail): void {
  change(d, rail, { alarmed_us: d.s.t_us })
  const seen = lastRead(d, rail)
  const text = isHot(rail)
    ? `OUTPUTS NOT CONFIRMED OFF: ${rail.name} does not fall after OFF (${seen}). Cut the mains of the HT sources now: of what feeds ${rail.name}, not of the bias. Then measure before touching.`
    : of(d.s, rail).given_us === null
      ? `${rail.name} stays on: nothing here shows that HT is down (${seen}). Switch it off by its own switch, last, when HT is down and the heaters are cold. Measure before touching.`
      : `OUTPUTS NOT CONFIRMED OFF: ${rail.name} does not confirm (${seen}). Switch this supply off by its own switch, HT first, bias last. Measure before touching.`
  d.out.push({ do: 'alarm', rail: rail.name, text, turn_down: rail.class === 'watched' })
}
