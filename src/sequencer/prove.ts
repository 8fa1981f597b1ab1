import type { Protection } from '../exchange/index.js'
import type { Proof, RailPlan, Step } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { broke } from './breach.js'
import { nextStep } from './hold.js'
import { record, send, warn } from './send.js'
import { limitsFor } from './standing.js'
import type { Draft, RailState, State } from './state.js'
import { accuracy, channelOf, currentStep, enter, off_V, paced_s, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/**
 * Proofs of a supply on a dummy load, and of its dead-man at a few volts before unattended work: something it should do by itself is brought about on purpose and watched. What would
 * otherwise trip is expected of the rail under test while that lasts; ceiling and over-voltage are judged as ever. Whatever
 * was provoked, the next step finds the output off, or its limits put back.
 */

/** The proof a rail is in the middle of; null = rules as ever. */
export function proofUnderWay(s: State, rail: string): Proof | null {
  const step = currentStep(s)
  if (s.phase !== 'running' || step?.proof === undefined || step.rail !== rail) return null
  return s.part.startsWith('prove ') ? step.proof : null
}

/** Whether nothing need be heard of a rail now: its supply is being left alone so that its dead-man fires. */
export function leftAlone(s: State, rail: string): boolean {
  return s.part === 'prove watch' && proofUnderWay(s, rail)?.of === 'dead-man'
}

/** A protection fired; true when it was meant to. */
export function proofFired(d: Draft, channel: string, which: Protection): boolean {
  const proof = proofUnderWay(d.s, currentStep(d.s)?.rail ?? '')
  // However its supply names the loss of what the relay cut; what stands or flows too high is never that.
  const lost = which !== 'over-voltage' && which !== 'over-current'
  if (lost && proof?.of === 'cut-off relay' && proof.channel === channel) {
    noted(d, { fired: which })
    return true
  }
  if (proof?.of !== which) return lost && toldLate(d.s, channel, which)
  // What is not fed is the whole line: every timer of that supply runs out, and any of its outputs may be the one to say so.
  const here = proof.channel === channel || (which === 'dead-man' && sameSupply(d.s, proof.channel, channel))
  if (!here) return false
  noted(d, { fired: which })
  return true
}

/** One timer an output: the others ran out with the one that was proved, and say so when their turn to be asked comes. */
function toldLate(s: State, channel: string, which: Protection): boolean {
  const before = s.plan.steps.slice(0, s.step)
  const late = (of: Proof['of']): boolean =>
    before.some(({ proof }) => proof?.of === of && sameSupply(s, proof.channel, channel))
  return s.latched && ((which === 'dead-man' && late('dead-man')) || late('cut-off relay'))
}

function sameSupply(s: State, one: string, other: string): boolean {
  const port = channelOf(s, one)?.plan.port
  return port !== undefined && port === channelOf(s, other)?.plan.port
}

/** An output went off by itself; true when it was meant to. */
export function proofOff(d: Draft, channel: string): boolean {
  const found = channelOf(d.s, channel)
  const proof = found === null ? null : proofUnderWay(d.s, found.rail.name)
  if (proof?.channel !== channel || proof.of === 'current limit') return false
  noted(d, { off: true })
  return true
}

/** The supply would not take a level; true when that is an answer to the proof. */
export function proofRefused(d: Draft, channel: string, why: string): boolean {
  const found = channelOf(d.s, channel)
  const proof = found === null ? null : proofUnderWay(d.s, found.rail.name)
  if (proof?.channel !== channel || d.s.part !== 'prove watch') return false
  if (proof.of !== 'over-voltage' && proof.of !== 'over-current') return false
  noted(d, { refused: why })
  return true
}

function noted(d: Draft, more: Partial<NonNullable<State['proof']>>): void {
  const before = d.s.proof
  if (before === null) return
  d.s.proof = { ...before, ...more, seen_us: before.seen_us ?? d.s.t_us }
}

interface Under {
  readonly d: Draft
  readonly step: Step
  readonly proof: Proof
  readonly rail: RailPlan
  readonly state: RailState
}

export function advanceProof(d: Draft, step: Step): void {
  const { proof } = step
  const found = proof === undefined ? null : channelOf(d.s, proof.channel)
  const state = found === null ? undefined : d.s.rails[found.rail.name]
  if (proof === undefined || found === null || state === undefined) {
    broke(d, {
      code: 'invariant',
      text: `Step ${step.index} proves something of a channel that is not in the plan.`,
    })
    return
  }
  const under: Under = { d, step, proof, rail: found.rail, state }
  switch (d.s.part) {
    case 'prove tell':
      if (idle(under)) tell(under)
      return
    case 'prove watch':
      watch(under)
      return
    case 'prove back':
      putBack(under)
      return
    case 'prove off':
      putOff(under)
      return
    default:
      enter(d, 'prove tell')
  }
}

const idle = ({ d, proof }: Under): boolean =>
  !Object.values(d.s.pending).some((pending) => pending.channel === proof.channel)

function tell({ d, step, proof, rail, state }: Under): void {
  const limits = step.limits[rail.name]
  const part = rail.channels.find((each) => each.channel === proof.channel)
  if (!limits || !part) {
    broke(d, { code: 'invariant', text: `Step ${step.index} would prove ${proof.of} without limits.` })
    return
  }
  const usual = limitsFor(part, limits)
  d.s.proof = {
    told_us: d.s.t_us,
    from_V: state.V?.value ?? state.set_V,
    said_before: d.s.channels[proof.channel]?.regulation ?? 'unknown',
    said_during: 'unknown',
    seen_us: null,
    fired: null,
    off: false,
    refused: null,
    result: null,
  }
  record(d, 'command', `${rail.name} (${proof.channel}): ${told(proof)}.`, {
    rail: rail.name,
    data: {
      proof: proof.of,
      told: true,
      limit_A: proof.limit_A,
      level: proof.level,
      volts: state.V?.value ?? null,
    },
  })
  // The over-current level stays where it is: what still flows as the limit comes down is no over-current.
  const level = proof.level === null ? {} : { over_current_A: proof.level }
  switch (proof.of) {
    case 'off':
      send(d, proof.channel, { do: 'off' })
      break
    case 'current limit':
      send(d, proof.channel, { do: 'limits', ...usual, limit_A: proof.limit_A ?? usual.limit_A, ...level })
      break
    case 'over-voltage':
      send(d, proof.channel, { do: 'limits', ...usual, over_voltage_V: proof.level })
      break
    case 'over-current':
      send(d, proof.channel, { do: 'limits', ...usual, over_current_A: proof.level ?? usual.limit_A })
      break
    case 'dead-man':
      send(d, proof.channel, {
        do: 'starve',
        for_s: proof.within_s,
        ...(d.s.plan.kind !== 'qualify' && { arm_again: true }),
      })
      break
    case 'cut-off relay':
      // The loop leaves it unfed as long as this part lasts.
      break
  }
  enter(d, 'prove watch')
}

function told(proof: Proof): string {
  switch (proof.of) {
    case 'off':
      return 'told OFF, and its fall is measured'
    case 'current limit':
      return `told to limit at ${amps(proof.limit_A ?? 0)}, less than its load draws`
    case 'over-voltage':
      return `over-voltage level put to ${volts(proof.level ?? 0)}, below what stands`
    case 'over-current':
      return `over-current level put to ${amps(proof.level ?? 0)}, below what flows`
    case 'dead-man':
      return `its dead-man is not fed for ${proof.within_s.toFixed(1)} s`
    case 'cut-off relay':
      return `the cut-off relay is not fed for up to ${proof.within_s.toFixed(1)} s`
  }
}

function watch(under: Under): void {
  const { d, step, proof, rail, state } = under
  const now = d.s.proof
  if (now === null) return
  const waited_s = (d.s.t_us - now.told_us) / 1e6
  const within_s = paced_s(d.s, proof.within_s)
  switch (proof.of) {
    case 'off':
      if (d.s.channels[proof.channel]?.output === 'off' && isDown(under)) done(under, 'went off', waited_s)
      else if (waited_s > within_s) wontFall(under)
      return
    case 'current limit': {
      const limit_A = proof.limit_A ?? 0
      if (holdsLimit(under, limit_A)) noted(d, { off: false })
      if (now.seen_us === null) {
        if (waited_s <= within_s) return
        broke(d, {
          code: 'current-limit',
          rail: rail.name,
          measured: state.A?.value ?? 0,
          limit: limit_A,
          unit: 'A',
          text: `${rail.name} was told to limit at ${amps(limit_A)} and gives ${amps(state.A?.value ?? 0)}: its current limit does not hold. It may not feed a set.`,
        })
        return
      }
      if (waited_s < step.hold_s) return
      d.s.proof = { ...now, said_during: d.s.channels[proof.channel]?.regulation ?? 'unknown' }
      enter(d, 'prove back')
      return
    }
    default:
      if (now.refused !== null) {
        d.s.proof = { ...now, result: 'refused' }
        record(d, 'judgement', `${rail.name}: ${proof.of} could not be provoked: ${now.refused}`, {
          rail: rail.name,
          data: { proof: proof.of, result: 'refused', why: now.refused },
        })
        enter(d, 'prove back')
      } else if (now.fired !== null || isDown(under)) {
        fired(under, waited_s)
      } else if (waited_s > within_s + paced_s(d.s, lookAfter_s)) {
        silent(under, waited_s)
      }
  }
}

/** A protection is asked about seldom: what fired may be told this long after the volts went. */
const lookAfter_s = 5

function fired(under: Under, waited_s: number): void {
  const { d, proof, rail } = under
  const now = d.s.proof
  if (now === null) return
  // The volts decide; what the supply says of it may still come, and is waited for.
  const late = waited_s - ((now.seen_us ?? d.s.t_us) - now.told_us) / 1e6 > paced_s(d.s, lookAfter_s)
  if (now.seen_us === null) noted(d, {})
  if (!isDown(under) && !late) return
  if (!isDown(under)) {
    broke(d, {
      code: 'protection',
      rail: rail.name,
      text: `${proof.channel} (${rail.name}) says that its ${proof.of} protection fired, and its terminals still stand at ${volts(d.s.rails[rail.name]?.V?.value ?? 0)}. It does not switch off.`,
    })
    return
  }
  // A relay says nothing of its own: the volts do.
  if (now.fired === null && !late && proof.of !== 'cut-off relay') return
  const said = now.fired !== null
  const after_s = ((d.s.proof?.seen_us ?? d.s.t_us) - now.told_us) / 1e6
  d.s.proof = { ...now, result: 'fired' }
  d.s.latched = true
  record(
    d,
    'judgement',
    `${rail.name}: ${proof.of} fired as it should; the terminals fell${said ? ', and the supply says so' : ', but the supply does not say so'}.`,
    { rail: rail.name, data: { proof: proof.of, result: 'fired', said, after_s } },
  )
  if (!said && proof.of !== 'dead-man' && proof.of !== 'cut-off relay')
    warn(
      d,
      `${rail.name}: ${proof.of} fired without the supply saying so: a run would call it a lost set-point.`,
      rail.name,
    )
  enter(d, 'prove off')
}

function silent(under: Under, waited_s: number): void {
  const { d, proof, rail } = under
  if (d.s.proof !== null) d.s.proof = { ...d.s.proof, result: 'did not fire' }
  record(d, 'judgement', `${rail.name}: ${proof.of} did NOT fire within ${waited_s.toFixed(1)} s.`, {
    rail: rail.name,
    data: { proof: proof.of, result: 'did not fire', waited_s },
  })
  const text = `${rail.name}: ${proof.of} did not fire (${told(proof)}, waited ${waited_s.toFixed(1)} s). It protects nothing: take the supply as having none.`
  if (d.s.plan.kind !== 'qualify') {
    broke(d, {
      code: 'unproved',
      rail: rail.name,
      measured: waited_s,
      limit: proof.within_s,
      unit: 's',
      text,
    })
    return
  }
  warn(d, text, rail.name)
  enter(d, 'prove off')
}

/** Three readings in a row at the limit, told since. */
function holdsLimit({ d, rail, state }: Under, limit_A: number): boolean {
  const { A } = state
  if (A === null || d.s.proof === null || A.t_us <= d.s.proof.told_us) return false
  const room_A = accuracy(d.s, rail, 0, limit_A).A + 0.02 * limit_A + 2 * resolution(d.s, rail).A
  return inRow(state, A.t_us, Math.abs(A.value - limit_A) <= room_A)
}

/** Three readings in a row that show nothing at the terminals, since it was told. */
function isDown({ d, rail, state }: Under): boolean {
  const { V } = state
  const now = d.s.proof
  if (V === null || now === null || V.t_us <= now.told_us) return false
  const zero_V = Math.max(3 * resolution(d.s, rail).V, 2 * accuracy(d.s, rail, 0, 0).V)
  return inRow(state, V.t_us, Math.abs(V.value) <= Math.max(zero_V, Math.min(off_V, 0.1 * now.from_V)))
}

function inRow(state: RailState, at_us: number, good: boolean): boolean {
  const before = state.in_window
  if (!good) state.in_window = null
  else if (before?.at_us !== at_us) state.in_window = { count: (before?.count ?? 0) + 1, at_us }
  return (state.in_window?.count ?? 0) >= 3
}

/** Its usual limits again, read back, and the volts that they allow. */
function putBack(under: Under): void {
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

/** OFF, read back, and its fall seen. */
function putOff(under: Under): void {
  const { d, proof } = under
  const channel = d.s.channels[proof.channel]
  if (!channel) return
  if (channel.output !== 'off' || d.s.proof?.off === true) {
    if (idle(under)) {
      send(d, proof.channel, { do: 'off' })
      if (d.s.proof !== null) d.s.proof = { ...d.s.proof, off: false }
    }
  } else if (isDown(under)) leave(under)
  if (d.s.t_us - d.s.part_us > us(paced_s(d.s, 10))) wontFall(under)
}

function wontFall({ d, proof, rail, state }: Under): void {
  const limit = Math.min(off_V, 0.1 * (d.s.proof?.from_V ?? 0))
  broke(d, {
    code: 'wont-fall',
    rail: rail.name,
    measured: state.V?.value ?? 0,
    limit,
    unit: 'V',
    text: `${rail.name} (${proof.channel}) was told OFF and its terminals stand at ${volts(state.V?.value ?? 0)} ${((d.s.t_us - d.s.part_us) / 1e6).toFixed(1)} s later: it does not go off. It may not feed a set.`,
  })
}

function done(under: Under, result: string, after_s: number): void {
  const { d, proof, rail } = under
  record(d, 'judgement', `${rail.name}: ${result} ${formatShort(after_s, 's')} after it was told.`, {
    rail: rail.name,
    data: { proof: proof.of, result, after_s },
  })
  leave(under)
}

function leave({ d, step, proof, state }: Under): void {
  const channel = d.s.channels[proof.channel]
  if (channel?.output === 'off') {
    state.energised = false
    state.set_V = 0
    channel.set_V = null
  }
  d.s.proof = null
  nextStep(d, step)
}
