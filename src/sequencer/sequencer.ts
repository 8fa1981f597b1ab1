import type { Plan, RailPlan, RuleCode } from '../plan/index.js'
import type { LineFailure, LineRequestBody } from '../exchange/index.js'
import { takeMeter, takeReading } from './intake.js'
import { besideRead } from './beside.js'
import { broke, inWords, outcomeOf, tripAt, warnAt, worst } from './breach.js'
import { judgeDriveMeter } from './judge-drive.js'
import { biasBehind, judgeBiasMeter } from './judge-bias.js'
import { draftOf, own } from './draft.js'
import { initialState } from './initial.js'
import { judgeReading, judgeRunDown } from './judge.js'
import { judgeInput, onlyInformative } from './inputs.js'
import { judgeTick } from './judge-time.js'
import { noteLineError } from './line-trouble.js'
import { nextToDo } from './next.js'
import { handsGivenUp, makeOff, offHears, trip } from './off.js'
import { notGivenBack, notRested } from './rest.js'
import { promptTimeouts } from './prompts.js'
import { notZeroed, proofFired, proofOff, proofRefused } from './prove.js'
import { advance } from './run.js'
import { answer } from './answers.js'
import { noteHeater } from './heaters.js'
import { reformJudged } from './reform.js'
import { record, warn } from './send.js'
import { noteNothing } from './start.js'
import { amps, volts } from './words.js'
import type { Draft, OffNow, State } from './state.js'
import { channelOf, isHot, without } from './state.js'
import type { Command, Event } from './types.js'
import { noWires } from './wires.js'

/**
 * Decisions. A pure function of what is known and what just happened: no clock, no port, no disk. Live run, rehearsal, replay
 * and simulation all call this.
 */
export function begin(plan: Plan): State {
  return initialState(plan)
}

export interface Stepped {
  readonly state: State
  readonly commands: readonly Command[]
}

/**
 * `offNow` is called in the moment in which an urgent OFF is decided, before anything else of this step; it is among the commands, too.
 * `isOwn`: nobody else has this state, so it is taken as it is and not copied.
 */
export function step(state: State, event: Event, offNow: OffNow = () => undefined, isOwn = false): Stepped {
  if (state.phase === 'ended') return { state, commands: [] }
  const d = isOwn ? own(state, offNow) : draftOf(state, offNow)
  if (event.t_us < state.t_us) broke(d, { code: 'invariant', text: 'Time ran backwards.' })
  else d.s.t_us = event.t_us
  const goingOff = d.s.phase === 'making off'
  handle(d, event)
  settle(d)
  if (goingOff) offHears(d, event)
  if (d.s.phase === 'running') advance(d)
  settle(d)
  return { state: d.s, commands: d.out }
}

/** Acts on the most severe of what broke. */
function settle(d: Draft): void {
  if (d.broken.length === 0) return
  if (d.s.phase === 'running') biasBehind(d)
  const reason = worst(d.broken)
  if (!reason) return
  d.broken = []
  if (d.s.phase === 'waiting') {
    // Nothing was energised by us and no output may be: say so and end.
    makeOff(d, 'urgent', 'failed', reason)
    return
  }
  const hinted = outcomeOf[reason.code as RuleCode] === 'tripped' && d.s.off === null
  trip(d, hinted ? { ...reason, text: () => inWords(reason.text) + nextToDo(d, reason) } : reason)
}

const failureCode: Readonly<Record<LineFailure, RuleCode>> = {
  'no reply': 'line-lost',
  closed: 'line-lost',
  'wrong supply': 'line-lost',
  'bad reply': 'bad-reply',
  'read-back differs': 'read-back',
  refused: 'read-back',
}

function handle(d: Draft, event: Event): void {
  switch (event.kind) {
    case 'begin':
      if (d.s.phase !== 'waiting') return
      d.s.phase = 'running'
      d.s.begun_us = d.s.t_us
      d.s.part_us = d.s.t_us
      // What the terminals showed before counts for nothing: three samples from now on prove them.
      for (const channel of Object.values(d.s.channels)) {
        channel.nothing = { V: 0, A: 0 }
        channel.lowest = null
      }
      record(d, 'begin', begunBy(event.word, event.channel), {
        data: { word: event.word, channel: event.channel },
      })
      d.s.wires_as_in = event.hooked_up_as_in
      if (event.channel === 'rehearsal') noWires(d)
      return
    case 'tick':
      tick(d, event.late_us, event.slept_us)
      return
    case 'reading': {
      const rail = takeReading(d, event.channel, event.quantity, event.value)
      noteNothing(d, event.channel, event.quantity)
      if (rail !== null) judge(d, rail, event.quantity)
      return
    }
    case 'meter': {
      const rail = takeMeter(d, event.meter, event.value)
      if (d.s.phase === 'running') {
        judgeBiasMeter(d, event.meter)
        judgeDriveMeter(d, event.meter)
      }
      judgeInput(d, event.meter)
      if (rail !== null) judge(d, rail, d.s.plan.meters[event.meter]?.measures === 'A' ? 'A' : 'V')
      return
    }
    case 'regulation': {
      const found = channelOf(d.s, event.channel)
      if (found) found.state.regulation = event.mode
      return
    }
    case 'done':
      requestDone(d, event.id)
      return
    case 'failed':
      requestFailed(d, event.id, event.code, event.text, event.outcome)
      return
    case 'output':
      outputRead(d, event.channel, event.on)
      return
    case 'protection': {
      const found = channelOf(d.s, event.channel)
      if (found && !proofFired(d, event.channel, event.which)) {
        const volts = event.which === 'over-voltage'
        const figures =
          volts || event.which === 'over-current'
            ? ({
                measured: (volts ? found.state.V : found.state.A)?.value ?? 0,
                limit: (volts ? found.state.over_V : found.state.limit_A) ?? 0,
                unit: volts ? 'V' : 'A',
              } as const)
            : {}
        broke(d, {
          code: 'protection',
          rail: found.rail.name,
          ...figures,
          text: `The supply's own ${event.which} protection fired on ${event.channel} (${found.rail.name}). It is not cleared here: clearing may switch the output on again.`,
        })
      }
      return
    }
    case 'line trouble':
      d.s.line_troubles = {
        ...d.s.line_troubles,
        [event.port]: { fault: event.fault, text: event.text, t_us: d.s.t_us },
      }
      noteLineError(d)
      return
    case 'line lost':
      if (d.s.phase !== 'waiting' && onlyInformative(d, event.port)) return
      broke(d, { code: 'line-lost', text: event.text.charAt(0).toUpperCase() + event.text.slice(1) })
      return
    case 'answer':
      answer(d, event.prompt, event.value, event.by)
      return
    case 'stop':
      if (d.s.phase === 'waiting') d.s.begun_us = d.s.t_us
      if (event.how === 'off now' && event.by === 'SIGTERM' && handsGivenUp(d, event.by)) return
      makeOff(d, event.how === 'off now' ? 'urgent' : 'run down', 'stopped', {
        code: 'operator',
        rail: null,
        step: d.s.plan.steps[d.s.step]?.index ?? null,
        measured: null,
        limit: null,
        unit: '',
        text: event.how === 'off now' ? `Outputs off now, by ${event.by}.` : `Run down, by ${event.by}.`,
      })
      return
    case 'recorded':
      if (d.s.intent?.id === event.intent) d.s.intent = { ...d.s.intent, recorded: true }
      return
    case 'recorder lost':
      broke(d, { code: 'recorder-lost', text: `The record is not being kept: ${event.text}` })
      return
    case 'judged':
      reformJudged(d, event.judgement)
      return
    case 'off unfounded':
      broke(d, {
        code: 'invariant',
        text: 'OFF was given for a current above its ceiling that the judgement behind it did not find: a fault of slowglow.',
      })
      return
    case 'parent lost':
      broke(d, { code: 'parent-lost', text: `The supervising process is gone or silent: ${event.text}` })
      return
  }
}

/** The record says who acknowledged what; in a rehearsal nobody did. */
function begunBy(word: string, channel: 'terminal' | 'page' | 'rehearsal'): string {
  return channel === 'rehearsal'
    ? 'A rehearsal: the cautions were shown, nothing was to be acknowledged.'
    : `Cautions acknowledged by typing "${word}" (${channel}).`
}

function tick(d: Draft, late_us: number, slept_us: number): void {
  const dt_s = (d.s.t_us - d.s.tick_us) / 1e6
  d.s.tick_us = d.s.t_us
  if (slept_us > 1e6 * tripAt(d.s, 'slept', 0.5)) {
    broke(d, {
      code: 'slept',
      measured: slept_us / 1e6,
      unit: 's',
      text: `The computer slept for ${(slept_us / 1e6).toFixed(1)} s while the rails were in its care.`,
    })
  }
  const latest_s = tripAt(d.s, 'late-tick', 0.5)
  if (late_us > 1e6 * latest_s) {
    broke(d, {
      code: 'late-tick',
      measured: late_us / 1e6,
      limit: latest_s,
      unit: 's',
      text: `The loop that judges readings came ${(late_us / 1e6).toFixed(2)} s late: this machine is too busy to be trusted with HT.`,
    })
  } else if (late_us > 1e6 * warnAt(d.s, 'late-tick', 0.25)) {
    warn(d, `A tick came ${(late_us / 1e6).toFixed(2)} s late.`, null)
  }
  if (d.s.phase === 'running') {
    judgeTick(d, dt_s)
    promptTimeouts(d)
  }
}

function judge(d: Draft, rail: string, quantity: 'V' | 'A'): void {
  const plan = d.s.plan.rails[rail]
  if (plan?.role === 'heater') noteHeater(d, rail)
  if (plan && isHot(plan) && (d.s.rails[rail]?.V?.value ?? 0) > 60) d.s.ht_was_up = true
  if (d.s.phase === 'running') judgeReading(d, rail, quantity)
  else judgeRunDown(d, rail, quantity)
}

function requestDone(d: Draft, id: number): void {
  const pending = d.s.pending[id]
  if (!pending) return
  d.s.pending = without(d.s.pending, String(id))
  const found = channelOf(d.s, pending.channel)
  if (!found) return
  const { rail, state } = found
  const railState = d.s.rails[rail.name]
  switch (pending.request.do) {
    case 'limits':
      state.limit_A = pending.request.limit_A
      state.over_V = pending.request.over_voltage_V
      state.limits_step = d.s.plan.steps[d.s.step]?.index ?? null
      d.s.limits_us = d.s.t_us
      return
    case 'set':
      state.set_V = pending.request.volts
      state.setting = null
      if (railState && rail.channels.every((part) => d.s.channels[part.channel]?.setting === null)) {
        const before = railState.set_V
        railState.set_V = rail.channels.reduce(
          (sum, part) => sum + (d.s.channels[part.channel]?.set_V ?? 0),
          0,
        )
        railState.set_us = d.s.t_us
        railState.lowered_us = railState.set_V < before ? d.s.t_us : null
        if (isHot(rail) && railState.set_V > 60) d.s.ht_was_up = true
        railState.error_pct_s = 0
      }
      return
    case 'on':
      state.output = 'on'
      if (railState) railState.on_known_us = d.s.t_us
      return
    case 'off':
      state.output = 'off'
      return
    case 'zero':
      state.set_V = 0
      return
    case 'starve':
    case 'panel':
    case 'disarm':
      return
  }
}

function requestFailed(
  d: Draft,
  id: number,
  code: LineFailure,
  text: string,
  outcome: 'not done' | 'unknown',
): void {
  const pending = d.s.pending[id]
  if (!pending) return
  d.s.pending = without(d.s.pending, String(id))
  const found = channelOf(d.s, pending.channel)
  if (pending.request.do === 'disarm') {
    notRested(d, pending.channel, text)
    return
  }
  if (pending.request.do === 'panel' && pending.request.to === 'person') {
    notGivenBack(d, pending.channel, text)
    return
  }
  const heard = code !== 'no reply' && code !== 'closed' && code !== 'wrong supply'
  if (heard && pending.request.do === 'zero' && notZeroed(d, pending.channel, text)) return
  if (d.s.phase === 'making off') {
    record(
      d,
      'off',
      `${pending.channel}: "${pending.request.do}" failed (${text}); it is told again until it confirms.`,
      { rail: found?.rail.name ?? null },
    )
    return
  }
  if (code !== 'no reply' && code !== 'closed' && proofRefused(d, pending.channel, text)) return
  broke(d, {
    code: failureCode[code],
    rail: found?.rail.name ?? '',
    text: `${found?.rail.name ?? ''} (${pending.channel}): ${told(pending.request)} was sent and not confirmed: ${text.replace(/ ?It may have happened[^.]*\./, '')}${outcome === 'unknown' ? ' Whether the supply took it is not known, so its outputs go off.' : ''}`,
  })
}

/** A line request as the person at the bench would call it. */
function told(request: LineRequestBody): string {
  switch (request.do) {
    case 'limits':
      return `a current limit of ${amps(request.limit_A)}`
    case 'set':
      return `a set-point of ${volts(request.volts)}`
    case 'on':
      return 'output on'
    case 'off':
      return 'output off'
    case 'zero':
      return 'set-point to zero'
    case 'starve':
      return 'its dead-man left unfed'
    case 'panel':
      return request.to === 'computer' ? 'its word to be remote' : 'its panel given back'
    case 'disarm':
      return 'its dead-man put to rest'
  }
}

/** On before this run switched anything: off with everything, in order over all ports, and no run on such a bench. */
function foundOn(d: Draft, channel: string, rail: RailPlan): void {
  d.s.found_on = [...d.s.found_on, channel]
  if (isHot(rail)) d.s.ht_was_up = true
  broke(d, {
    code: 'read-back',
    rail: rail.name,
    text: `${channel} (${rail.name}) was found on before this run switched anything. Every output is put off in order; find out what left it on, then start again.`,
  })
}

/** An output that is not as it was told is a rig that cannot be trusted. */
function outputRead(d: Draft, channel: string, on: boolean): void {
  const found = channelOf(d.s, channel)
  if (!found) return
  const busy = Object.values(d.s.pending).some(
    (pending) => pending.channel === channel && (pending.request.do === 'on' || pending.request.do === 'off'),
  )
  const before = found.state.output
  const beside = besideRead(d, channel, on)
  found.state.output = on ? 'on' : 'off'
  if (d.s.phase === 'waiting' && on) foundOn(d, channel, found.rail)
  if (busy || d.s.phase !== 'running') return
  if (before === 'on' && !on && !beside && !proofOff(d, channel)) {
    broke(d, {
      code: 'protection',
      rail: found.rail.name,
      text: `${channel} (${found.rail.name}) switched its output off by itself: a protection, its front panel, or a mains dip.`,
    })
  }
  if (before === 'off' && on) {
    broke(d, {
      code: 'read-back',
      rail: found.rail.name,
      text: `${channel} (${found.rail.name}) reads as on though it was never switched on.`,
    })
  }
}
