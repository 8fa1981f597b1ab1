import { broke } from './breach.js'
import { idle, inRow, leave, type Under } from './prove-parts.js'
import { record, send, warn } from './send.js'
import { limitsFor } from './standing.js'
import { accuracy, paced_s, resolution } from './state.js'
import { amps, volts } from './words.js'

/* The proof of a current limit: held there, and what the supply says of itself meanwhile; then its usual limits again. */

/** Three readings in a row at the limit, told since. */
export function holdsLimit({ d, rail, state }: Under, limit_A: number): boolean {
  const { A } = state
  if (A === null || d.s.proof === null || A.t_us <= d.s.proof.told_us) return false
  const room_A = accuracy(d.s, rail, 0, limit_A).A + 0.02 * limit_A + 2 * resolution(d.s, rail).A
  return inRow(state, A.t_us, Math.abs(A.value - limit_A) <= room_A)
}

/** Its usual limits again, read back, and the volts that they allow. */
export function putBack(under: Under): void {
  const { d, step, proof, rail, state } = under
  const limits = step.limits[rail.name]
  const part = rail.channels.find((each) => each.channel === proof.channel)
  const channel = d.s.channels[proof.channel]
  const now = d.s.proof
  if (!limits || !part || !channel || !now) return
  const usual = limitsFor(part, limits)
  if (d.s.limits_us <= d.s.part_us) {
    if (idle(under)) send(d, proof.channel, { do: 'limits', ...usual })
    return
  }
  const waited_s = (d.s.t_us - d.s.limits_us) / 1e6
  const room_V = Math.max(3 * accuracy(d.s, rail, state.set_V, 0).V, 0.02 * state.set_V)
  const back =
    waited_s >= recharged_s &&
    state.V !== null &&
    state.V.t_us > d.s.limits_us &&
    Math.abs(state.V.value - state.set_V) <= room_V
  if (waited_s < paced_s(d.s, backWithin_s) && !(back && channel.regulation === 'voltage')) return
  if (!back) {
    broke(d, {
      code: 'off-set-point',
      rail: rail.name,
      measured: state.V?.value ?? 0,
      limit: state.set_V,
      unit: 'V',
      text: `${rail.name} was given its usual limits back and stands at ${volts(state.V?.value ?? 0)}, set to ${volts(state.set_V)}.`,
    })
    return
  }
  if (proof.of === 'current limit') judgeSaid(under, channel.regulation)
  leave(under)
}

/** What its output capacitor takes up meanwhile shows in the current too (our choice). */
const recharged_s = 1
/** A regulation is asked about once in several rounds. */
const backWithin_s = 6

/** What the supply said of itself beside what was measured: the one proof of a convention that five families write five ways. */
function judgeSaid({ d, proof, rail }: Under, after: string): void {
  const now = d.s.proof
  if (now === null) return
  const { said_before, said_during } = now
  const right = said_before === 'voltage' && said_during === 'current' && after === 'voltage'
  const wrong = said_during === 'voltage' || said_before === 'current' || after === 'current'
  const result = right ? 'as it should' : wrong ? 'contradicts' : 'does not tell'
  record(
    d,
    'judgement',
    `${rail.name} held its limit of ${amps(proof.limit_A ?? 0)}; it said ${said_before} before, ${said_during} meanwhile, ${after} after: ${result}.`,
    {
      rail: rail.name,
      data: { proof: proof.of, result, said_before, said_during, said_after: after, limit_A: proof.limit_A },
    },
  )
  if (!right)
    warn(
      d,
      `${rail.name}: measured at its current limit, the supply said "${said_during}", and "${said_before}" and "${after}" without: what the dialect states as constant current (ask_cc) ${wrong ? 'is wrong' : 'is never seen'} on this supply.`,
      rail.name,
    )
}
