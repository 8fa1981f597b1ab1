import type { DeadMan } from '../bench/index.js'
import { decimal, errors, type Answer, type Call, type Command, type ScpiError } from './scpi.js'
import { chosen, type Output, type Works } from './supply-roles.js'
import { phrase, printedSwitch } from './vocabulary.js'

/** The dead-man of a virtual supply: one timer for all outputs, or one each. See the state diagram in firmware-protocol/README.md. */
export interface Watchdog {
  readonly commands: readonly Command[]
  /** Something it understood came: feeds a timer that takes any message for food. */
  heard(t_us: number): void
  /** Lets timers run out. */
  pass(t_us: number): void
  /** When the first of them runs out where nobody feeds it; Infinity where none would switch anything off. */
  runsOut_us(): number
  /** Why this output may not go on: its timer has expired and was not armed again. */
  holdsOff(output: Output): ScpiError | null
}

interface Timer {
  readonly outputs: readonly Output[]
  state: 'off' | 'armed' | 'expired'
  after_s: number
  fed_us: number
}

/** `now` is the time of the message being acted on. */
export function createWatchdog(works: Works, words: DeadMan | null, now: () => number): Watchdog {
  if (words === null) {
    return {
      commands: [],
      heard: () => undefined,
      pass: () => undefined,
      runsOut_us: () => Infinity,
      holdsOff: () => null,
    }
  }
  const make = (outputs: readonly Output[]): Timer => ({
    outputs,
    state: 'off',
    after_s: words.after_s,
    fed_us: 0,
  })
  const timers: Timer[] =
    words.per === 'supply' ? [make(works.outputs)] : works.outputs.map((output) => make([output]))
  const timersFor = (call: Call): readonly Timer[] | ScpiError => {
    if (words.per === 'supply') return timers
    const to = chosen(works, call)
    return 'code' in to
      ? to
      : timers.filter((timer) => timer.outputs.some((output) => to.outputs.includes(output)))
  }
  const told =
    (act: (timer: Timer, value: number | null) => ScpiError | null) =>
    (call: Call): Answer => {
      const found = timersFor(call)
      if ('code' in found) return found
      const value = decimal(call.parameters[0] ?? '')
      for (const timer of found) {
        const error = act(timer, value)
        if (error !== null) return error
      }
      return null
    }
  const asked =
    (value: (timer: Timer) => boolean) =>
    (call: Call): Answer => {
      const found = timersFor(call)
      return 'code' in found
        ? found
        : found.map((timer) => printedSwitch(works.supply.dialect, value(timer))).join(',')
    }
  const feed = (timer: Timer): null => {
    timer.fed_us = now()
    return null
  }
  const fed = (timer: Timer): boolean => {
    feed(timer)
    return timer.state === 'armed'
  }
  const arm = words.arm.map((text, at): Command => {
    const last = at === words.arm.length - 1
    return {
      header: phrase(text),
      set: told((timer, value) => {
        if (text.includes('{s}')) {
          if (value === null || value <= 0) return errors.range
          timer.after_s = value
        }
        if (!last) return null
        // Armed again only with its outputs off: arming must not bring anything back.
        if (timer.state === 'expired' && timer.outputs.some(({ face }) => face.on)) return errors.conflict
        timer.state = 'armed'
        return feed(timer)
      }),
    }
  })
  const disarm = words.disarm ?? []
  const rest = disarm.map(
    (text, at): Command => ({
      header: phrase(text),
      set: told((timer) => {
        if (at === disarm.length - 1) timer.state = 'off'
        return null
      }),
    }),
  )
  const runsOut_us = ({ state, fed_us, after_s, outputs }: Timer): number =>
    state !== 'armed' || outputs.every(({ face }) => face.inert === true)
      ? Infinity
      : fed_us + Math.floor(after_s * 1e6) + 1
  const commands: Command[] = [...arm, ...rest]
  if (words.ask_time != null) {
    commands.push({
      header: phrase(words.ask_time),
      ask(call) {
        const found = timersFor(call)
        return 'code' in found ? found : found.map(({ after_s }) => after_s.toFixed(1)).join(',')
      },
    })
  }
  if (words.feed?.endsWith('?')) commands.push({ header: phrase(words.feed), ask: asked(fed) })
  else if (words.feed !== null) commands.push({ header: phrase(words.feed), set: told(feed) })
  if (words.ask_armed !== null) {
    commands.push({ header: phrase(words.ask_armed), ask: asked(({ state }) => state === 'armed') })
  }
  if (words.ask_expired !== null) {
    commands.push({ header: phrase(words.ask_expired), ask: asked(({ state }) => state === 'expired') })
  }
  return {
    commands,
    heard(t_us) {
      if (words.feed === null) for (const timer of timers) timer.fed_us = t_us
    },
    pass(t_us) {
      for (const timer of timers) {
        if (runsOut_us(timer) > t_us) continue
        timer.state = 'expired'
        for (const { face } of timer.outputs) face.on = false
      }
    },
    runsOut_us: () => Math.min(...timers.map(runsOut_us)),
    holdsOff: (output) =>
      timers.some(({ state, outputs }) => state === 'expired' && outputs.includes(output))
        ? errors.conflict
        : null,
  }
}
