import type { Protection } from '../exchange/index.js'
import type { Proof, Step, TakenOutput } from '../plan/index.js'
import { formatShort } from '../quantities/index.js'
import { besideAt, besideOff, besideSeen, besideTaken, isBeside, takenWords } from './beside.js'
import { broke } from './breach.js'
import { holdsLimit, putBack } from './prove-limit.js'
import { idle, leave, type Under } from './prove-parts.js'
import { record, send, warn } from './send.js'
import { watchTimer } from './prove-timer.js'
import { limitsFor } from './standing.js'
import type { Draft, State } from './state.js'
import { channelOf, currentStep, enter, off_V, paced_s, us } from './state.js'
import { isDown, isOutside, lookAfter_s, noted } from './under-proof.js'
import { amps, volts } from './words.js'

/**
 * Proofs of a supply on a dummy load, and of its dead-man at a few volts before unattended work: something it should do by itself is brought about on purpose and watched. What would
 * otherwise trip is expected of the rail under test while that lasts; ceiling and over-voltage are judged as ever. Whatever
 * was provoked, the next step finds the output off, or its limits put back.
 */

/** The proof a rail is in the middle of; null = rules as ever. */
export function proofUnderWay(s: State, rail: string): Proof | null {
  const step = currentStep(s)
  if (s.phase !== 'running' || step?.proof === undefined) return null
  if (step.rail !== rail && !isBeside(step.proof, rail)) return null
  return s.part.startsWith('prove ') ? step.proof : null
}

/** Whether nothing need be heard of a rail now: its supply is being left alone so that its dead-man fires. */
export function leftAlone(s: State, rail: string): boolean {
  return s.part === 'prove watch' && proofUnderWay(s, rail)?.of === 'dead-man'
}

/** A protection fired; true when it was meant to. */
export function proofFired(d: Draft, channel: string, which: Protection): boolean {
  const proof = proofUnderWay(d.s, currentStep(d.s)?.rail ?? '')
  // However its supply names the loss of what was cut outside of it; what stands or flows too high is never that.
  const lost = which !== 'over-voltage' && which !== 'over-current'
  if (lost && isOutside(proof) && proof?.channel === channel) {
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
  return (
    s.latched &&
    ((which === 'dead-man' && late('dead-man')) || late('cut-off relay') || late('outside timer'))
  )
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
    zeroed: false,
    others: besideAt(d.s, proof),
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
    case 'outside timer':
      // The person started it before the volts rose: nothing but its own clock is waited for.
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
    case 'outside timer':
      return `the outside timer has up to ${proof.within_s.toFixed(0)} s to cut`
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
        record(d, 'judgement', `${rail.name} does NOT hold its limit of ${amps(limit_A)}.`, {
          rail: rail.name,
          data: { proof: proof.of, result: 'does not hold', waited_s },
        })
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
    case 'outside timer':
      switch (watchTimer(under, now, waited_s)) {
        case 'fired':
          enter(d, 'prove off')
          return
        case 'did not fire':
          silent(under, waited_s)
          return
        case null:
          return
      }
      break
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

function fired(under: Under, waited_s: number): void {
  const { d, proof, rail } = under
  const now = d.s.proof
  if (now === null) return
  // The volts decide; what the supply says of it may still come, and is waited for.
  const late = waited_s - ((now.seen_us ?? d.s.t_us) - now.told_us) / 1e6 > paced_s(d.s, lookAfter_s)
  if (now.seen_us === null) noted(d, {})
  if (!isDown(under) && !late) return
  if (!besideSeen(d, proof)) return
  const taken = besideTaken(d.s, proof)
  if (!isDown(under)) {
    record(
      d,
      'judgement',
      `${rail.name}: ${proof.of} is said to have fired, and the terminals stand.${takenWords(taken)}`,
      {
        rail: rail.name,
        data: {
          proof: proof.of,
          result: 'contradicts',
          said: true,
          ...(taken.length > 0 && { outputs: taken }),
        },
      },
    )
    broke(d, {
      code: 'protection',
      rail: rail.name,
      text: `${proof.channel} (${rail.name}) says that its ${proof.of} protection fired, and its terminals still stand at ${volts(d.s.rails[rail.name]?.V?.value ?? 0)}. It does not switch off.`,
    })
    return
  }
  // A relay says nothing of its own: the volts do.
  if (now.fired === null && !late && !isOutside(proof)) return
  if (now.fired === null && proof.says === true) {
    unsaid(under, waited_s)
    return
  }
  const said = now.fired !== null
  const after_s = ((d.s.proof?.seen_us ?? d.s.t_us) - now.told_us) / 1e6
  if (d.s.proof !== null) d.s.proof = { ...d.s.proof, result: 'fired' }
  d.s.latched = true
  record(
    d,
    'judgement',
    `${rail.name}: ${proof.of} fired as it should; the terminals fell${said ? ', and the supply says so' : ', but the supply does not say so'}.${takenWords(taken)}`,
    {
      rail: rail.name,
      data: { proof: proof.of, result: 'fired', said, after_s, ...(taken.length > 0 && { outputs: taken }) },
    },
  )
  tellTaken(under, taken)
  if (!said && proof.of !== 'dead-man' && !isOutside(proof))
    warn(
      d,
      `${rail.name}: ${proof.of} fired without the supply saying so: a run would call it a lost set-point.`,
      rail.name,
    )
  enter(d, 'prove off')
}

/** An output that is taken though it should not be, or is not though it should: what relies on it is not to be relied on. */
function tellTaken({ d, proof, rail }: Under, taken: readonly TakenOutput[]): void {
  const wrong = taken.filter(({ did, stated }) => did !== (stated === 'goes' ? 'went off' : 'stayed on'))
  if (wrong.length > 0)
    warn(d, `When the dead-man of ${proof.channel} was left unfed:${takenWords(wrong)}`, rail.name)
}

function silent(under: Under, waited_s: number): void {
  const { d, proof, rail } = under
  if (!besideSeen(d, proof)) return
  const taken = besideTaken(d.s, proof)
  if (d.s.proof !== null) d.s.proof = { ...d.s.proof, result: 'did not fire' }
  record(
    d,
    'judgement',
    `${rail.name}: ${proof.of} did NOT fire within ${waited_s.toFixed(1)} s.${takenWords(taken)}`,
    {
      rail: rail.name,
      data: {
        proof: proof.of,
        result: 'did not fire',
        waited_s,
        ...(taken.length > 0 && { outputs: taken }),
      },
    },
  )
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
  tellTaken(under, taken)
  enter(d, 'prove off')
}

/** The terminals fell, and a supply that can say whether its own dead-man did it does not say so. */
function unsaid({ d, proof, rail }: Under, waited_s: number): void {
  const text = `${rail.name}: the terminals fell while the ${proof.of} of ${proof.channel} was left unfed, and the supply does not say that it fired: a dip of the mains, a plug or a hand does the same. It is not proved. Begin again; if the supply never says so, take ask_expired out of its dialect.`
  record(d, 'judgement', text, {
    rail: rail.name,
    data: { proof: proof.of, result: 'not by itself', said: false, waited_s },
  })
  broke(d, { code: 'unproved', rail: rail.name, text })
}

/** A supply that takes no setting while it is latched: a person takes the set-point down. */
export function notZeroed(d: Draft, channel: string, why: string): boolean {
  const step = currentStep(d.s)
  if (d.s.phase !== 'running' || d.s.part !== 'prove off' || step?.proof === undefined) return false
  const { proof } = step
  if (proof.channel !== channel && proof.others?.some((each) => each.channel === channel) !== true)
    return false
  warn(
    d,
    `${channel} keeps its set-point while its protection is latched (${why.replace(/\.$/, '')}). Turn it to zero at its panel BEFORE you clear it: clearing may bring the output back at what stands there.`,
    step.rail,
  )
  return true
}

/** OFF, read back, its fall seen, and nothing left set. */
function putOff(under: Under): void {
  const { d, proof } = under
  const channel = d.s.channels[proof.channel]
  if (!channel) return
  const besideIsOff = besideOff(d, proof)
  if (channel.output !== 'off' || d.s.proof?.off === true) {
    if (idle(under)) {
      send(d, proof.channel, { do: 'off' })
      if (d.s.proof !== null) d.s.proof = { ...d.s.proof, off: false }
    }
  } else if (besideIsOff && isDown(under)) {
    // Clearing the latch may bring back what stood before the trip: nothing must stand there to come back.
    if (!idle(under) || d.s.proof === null) return
    if (d.s.proof.zeroed) {
      leave(under)
      return
    }
    d.s.proof = { ...d.s.proof, zeroed: true }
    for (const each of [proof, ...(proof.others ?? [])]) send(d, each.channel, { do: 'zero' })
    return
  }
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
