import type { Proof, TakenOutput } from '../plan/index.js'
import { send } from './send.js'
import { currentStep, paced_s, resolution, us } from './state.js'
import type { Draft, ProofState, State } from './state.js'

/**
 * The other outputs of a supply while its dead-man is proved: on at a few volts with nothing connected. Which of them it takes is a
 * finding and no fault of the run: bias must be left on, and what stands behind one timer for all must go.
 */

/** After the timer has run out: states are asked about seldom, and a charge without a load takes its time to show that it falls. */
const seenAfter_s = 5
const seenWithin_s = 20

/** What is noted of each when the proof begins. */
export function besideAt(s: State, proof: Proof): ProofState['others'] {
  return Object.fromEntries(
    (proof.others ?? []).map(({ channel, rail }) => [
      channel,
      { from_V: s.rails[rail]?.V?.value ?? 0, read: null, did: null, told_off: false },
    ]),
  )
}

/** Whether this rail stands beside the output that is being proved. */
export const isBeside = ({ others }: Proof, rail: string): boolean =>
  others?.some((each) => each.rail === rail) === true

/** An output's state was read back; true where it stands beside a proof, so that going off by itself is what is looked for. */
export function besideRead(d: Draft, channel: string, on: boolean): boolean {
  const now = d.s.proof
  const known = now?.others[channel]
  if (now === null || known === undefined || currentStep(d.s)?.proof?.of !== 'dead-man') return false
  d.s.proof = { ...now, others: { ...now.others, [channel]: { ...known, read: { on, t_us: d.s.t_us } } } }
  return true
}

/** True once it is known of every one of them whether it went, or time is up. */
export function besideSeen(d: Draft, proof: Proof): boolean {
  const now = d.s.proof
  const { others = [] } = proof
  if (now === null || others.length === 0) return true
  const out_us = now.told_us + us(paced_s(d.s, proof.within_s))
  if (d.s.t_us < out_us + us(paced_s(d.s, seenAfter_s))) return false
  const late = d.s.t_us >= out_us + us(paced_s(d.s, seenWithin_s))
  const seen = others.map(({ channel, rail }): [string, ProofState['others'][string]] => {
    const known = now.others[channel] ?? { from_V: 0, read: null, did: null, told_off: false }
    const did = known.did ?? fateOf(d.s, rail, known, out_us) ?? (late ? 'not clear' : null)
    return [channel, { ...known, did }]
  })
  d.s.proof = { ...now, others: Object.fromEntries(seen) }
  return seen.every(([, { did }]) => did !== null)
}

/** Volts decide, read after the timer must have run out; where a charge holds them up, what the supply says of the output as well. */
function fateOf(
  s: State,
  rail: string,
  { from_V, read }: ProofState['others'][string],
  out_us: number,
): TakenOutput['did'] | null {
  const V = s.rails[rail]?.V
  const plan = s.plan.rails[rail]
  if (!V || plan === undefined || V.t_us <= out_us || read === null || read.t_us <= out_us) return null
  if (V.value < 0.5 * from_V) return 'went off'
  const stands = V.value >= from_V - Math.max(2 * resolution(s, plan).V, 0.02 * from_V)
  if (read.on) return stands ? 'stayed on' : null
  return stands ? null : 'went off'
}

/** What became of each, for the record. */
export function besideTaken(s: State, proof: Proof): TakenOutput[] {
  return (proof.others ?? []).map(({ channel, stated }) => ({
    channel,
    did: s.proof?.others[channel]?.did ?? 'not clear',
    stated,
  }))
}

/** The same as a sentence; empty where nothing stood beside it. */
export function takenWords(taken: readonly TakenOutput[]): string {
  return taken
    .map(({ channel, did, stated }) => {
      const right = did === (stated === 'goes' ? 'went off' : 'stayed on')
      const said =
        stated === 'goes' ? 'is stated to take every output' : 'is stated to take this output alone'
      return ` ${channel} ${did === 'not clear' ? 'did not show clearly whether it went' : did}${right ? ', as it should' : `, though the dead-man ${said}`}.`
    })
    .join('')
}

/** Told OFF once more, whatever they did; true when each reads back as off. */
export function besideOff(d: Draft, { others = [] }: Proof): boolean {
  for (const { channel } of others) {
    const known = d.s.proof?.others[channel]
    if (d.s.proof === null || known === undefined || known.told_off || !isIdle(d, channel)) continue
    d.s.proof = { ...d.s.proof, others: { ...d.s.proof.others, [channel]: { ...known, told_off: true } } }
    send(d, channel, { do: 'off' })
  }
  return others.every(
    ({ channel }) =>
      d.s.proof?.others[channel]?.told_off === true &&
      isIdle(d, channel) &&
      d.s.channels[channel]?.output === 'off',
  )
}

const isIdle = (d: Draft, channel: string): boolean =>
  !Object.values(d.s.pending).some((pending) => pending.channel === channel)
