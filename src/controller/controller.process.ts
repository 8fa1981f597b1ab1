import { uptime } from 'node:os'
import { auditTime, Subject } from 'rxjs'
import { healthOf } from '../line/index.js'
import {
  createLoop,
  firstLook,
  type Given,
  loopStep,
  type Loop,
  type LoopInput,
  type LoopOutput,
} from '../loop/index.js'
import { connectRecorder, jsonLines } from '../record/client.js'
import { view as viewOf, type EventBody } from '../sequencer/index.js'
import {
  lastTyped,
  runEnding,
  storedCharge,
  streamIds,
  streamsOf,
  toldOfEvent,
  toldOfLine,
  toldOfRecord,
  toldOfRequest,
  type RunEntry,
} from '../story/index.js'
import { type FromController, type Start, toControllerShape } from './messages.js'
import { offAtOnce } from './off-at-once.js'
import { offFirst } from './off-first.js'
import { createPorts } from './ports.js'
import { beat_lost_us, beat_us } from './supervise.js'

/**
 * The controller: ports, line, sequencer, limits, and nothing else. From a reply to the OFF it causes there are only plain
 * function calls (`heard` → `firstLook` or `loopStep` → `ports.write`, called from within them): no promise, no stream, no disk. What others want to see leaves as copies.
 */
for (const signal of ['SIGINT', 'SIGTSTP', 'SIGHUP'] as const) process.on(signal, () => undefined)

/** Run time between ticks, at most; real time between them, at least. */
const tick_us = 25_000
const tick_least_ms = 2
const start_within_us = 12_000_000

process.once('message', (raw) => {
  const parsed = toControllerShape.safeParse(raw)
  if (parsed.success && parsed.data.kind === 'start') control(parsed.data)
  else fail(parsed.success ? 'The first message to the controller was not "start".' : parsed.error.message)
})
process.on('uncaughtException', (error) => {
  fail(error.stack ?? error.message)
})

/** What is written before anything else when this program itself is wrong; set once there are ports. */
const dying: { off: () => void } = { off: () => undefined }
/** Real ms between the OFF of a broken controller and its exit, so that the ports take it. */
const die_after_ms = 50

/**
 * We are broken: OFF on our own ports in this very turn, with text laid ready in the off plan and nothing decided, then leave.
 * The supervisor sees the exit and takes over; where there is none, these OFFs are all there is.
 */
function fail(text: string): void {
  dying.off()
  say({ kind: 'trouble', text })
  setTimeout(() => process.exit(70), die_after_ms)
}

function say(message: FromController, sent: () => void = () => undefined): void {
  // With a callback a parent that has just died is a failed send; without one it would be an uncaught exception here.
  if (process.connected) process.send?.(message, sent)
  else sent()
}

function control(start: Start): void {
  const { plan, speed } = start
  const began = process.hrtime.bigint()
  const real_us = (): number => Number((process.hrtime.bigint() - began) / 1000n)
  const now_us = (): number => Math.round(real_us() * speed)

  let loop: Loop = createLoop(
    plan,
    start.lines.map(({ config }) => config),
  )
  const ports = createPorts(now_us, (port, line) => {
    feed({ kind: 'port', port, line })
  })
  const ids = streamIds(streamsOf(plan))
  const views = new Subject<null>()
  let judged = 0
  let ready = false
  let begun = false
  let foundOn = false
  let ended = false
  let broken = false

  const recorder = connectRecorder(start.recorder, 'controller', {
    recorded(intent) {
      event({ kind: 'recorded', intent })
    },
    trouble(text) {
      event({ kind: 'recorder lost', text })
    },
  })

  const take = (input: LoopInput, given: Given | null): void => {
    if (broken) return
    const looped = loopStep(loop, input, ports.write, false, given)
    loop = looped.loop
    // Said behind its OFF, and before anything else is: from now on the supervisor must take over if we are lost.
    if (!begun && !foundOn && loop.sequencer.found_on.length > 0) {
      foundOn = true
      say({ kind: 'found on' })
    }
    const entries: RunEntry[] = []
    for (const output of looped.outputs) carry(output, entries)
    if (entries.length > 0) recorder.append(entries)
  }
  const feed = offFirst((input: LoopInput) => (broken ? null : firstLook(loop, input, ports.write)), take)
  const event = (body: EventBody): void => {
    if (!ended) feed({ kind: 'event', event: { ...body, t_us: now_us() } })
  }

  const carry = (output: LoopOutput, entries: RunEntry[]): void => {
    switch (output.kind) {
      case 'write':
        return
      case 'health':
        say({ kind: 'health', port: output.port, health: output.health })
        entries.push(toldOfLine(output, output.t_us))
        return
      case 'rung':
        entries.push(toldOfLine(output, output.t_us))
        return
      case 'reopen':
        connect(output.port)
        return
      case 'fed':
        if (output.event.kind === 'reading' || output.event.kind === 'meter') {
          judged++
          views.next(null)
        }
        if (output.event.kind === 'line lost' && !begun && loop.sequencer.found_on.length === 0)
          notReachable(output.event.text)
        entries.push(toldOfEvent(output.event, ids, 'controller'))
        return
      case 'command':
        obey(output, entries)
        return
    }
  }
  const obey = ({ command, t_us }: Extract<LoopOutput, { kind: 'command' }>, entries: RunEntry[]): void => {
    const seconds = (until_us: number): number => (until_us - t_us) / 1e6 / speed
    switch (command.kind) {
      case 'line':
      case 'urgent off':
        entries.push(toldOfRequest(command, t_us, 'controller'))
        return
      case 'record': {
        const told = toldOfRecord(command.entry, t_us, 'controller')
        entries.push(told)
        if (told.entry === 'event') say({ kind: 'told', event: told.event })
        if (command.entry.what === 'step') setImmediate(walkTrip)
        return
      }
      case 'prompt':
        say({ kind: 'prompt', prompt: command.prompt, ask: command.ask, left_s: seconds(command.until_us) })
        return
      case 'prompt closed':
        say({ kind: 'prompt closed', prompt: command.prompt, why: command.why })
        return
      case 'alarm':
        say({ kind: 'alarm', text: command.text })
        return
      case 'notice':
        say({ kind: 'notice', text: command.text })
        return
      case 'hands clear':
        say({ kind: 'hands clear', for_s: seconds(command.until_us) })
        return
      case 'end': {
        ended = true
        const ending = runEnding(
          command.ending,
          storedCharge(plan, loop.sequencer),
          t_us / 1e6,
          lastTyped(plan, loop.sequencer),
        )
        for (const line of Object.values(loop.lines)) {
          const { port } = line.config
          const health = healthOf(line)
          entries.push(toldOfLine({ kind: 'health', port, health }, t_us))
          say({ kind: 'health', port, health })
        }
        entries.push({ entry: 'ending', t_us, ending })
        say({ kind: 'view', view: viewOf(loop.sequencer) })
        say({ kind: 'ended', t_us, ending })
        setImmediate(leave)
        return
      }
    }
  }

  /**
   * The way of a trip walked once from where the run stands, its outcome thrown away (it is a pure function): the first OFF of
   * a run would else wait for code that was never run before. Measured on the trip bench: 1.45 ms without, 0.44 ms with.
   */
  const walkTrip = (): void => {
    const [channel] = Object.keys(loop.portOf)
    if (channel === undefined || ended || broken) return
    const event = { kind: 'protection', channel, which: 'over-voltage', t_us: now_us() } as const
    loopStep(loop, { kind: 'event', event })
  }

  /** Opens a port afresh. */
  const connect = (port: string): void => {
    const line = start.lines.find(({ config }) => config.port === port)
    if (line === undefined || ended) return
    ports.drop(port, () => {
      if (!ended) ports.open(port, line.place)
    })
  }

  const leave = (): void => {
    clearInterval(ticking)
    const exit = (): void => {
      void ports.close()
      setTimeout(() => process.exit(0), 20)
    }
    const rest = (): void => {
      handOver(recorder.unconfirmed(), exit)
    }
    void recorder.close(record_within_ms).then(rest, rest)
  }

  const notReachable = (text: string): void => {
    if (ended) return
    ended = true
    const on = Object.entries(loop.sequencer.channels).flatMap(([channel, { output }]) =>
      output === 'on' ? [channel] : [],
    )
    say({ kind: 'not reachable', text, on })
    setTimeout(() => process.exit(0), 100)
  }
  dying.off = () => {
    broken = true
    const places = Object.fromEntries(start.lines.map(({ config, place }) => [config.port, place]))
    offAtOnce(plan.off, places, (port, text) => {
      ports.write(port, text, true)
    })
  }

  let tickDue_us = real_us()
  let beatSent_us = 0
  let parentBeat_us = real_us()
  let uptime_us = uptime() * 1e6
  let lastTick_us = real_us()
  const period_ms = Math.max(tick_least_ms, Math.round(tick_us / 1000 / speed))

  const tick = (): void => {
    const at_us = real_us()
    const late_us = Math.max(0, at_us - tickDue_us)
    tickDue_us = Math.max(tickDue_us, at_us - period_ms * 1000) + period_ms * 1000
    const up_us = uptime() * 1e6
    // Only what uptime gained on the monotonic clock within one tick: two clocks drift, a sleep jumps.
    const slept_us = Math.max(0, Math.round(up_us - uptime_us - (at_us - lastTick_us)))
    const held_us = Math.max(0, at_us - lastTick_us - beat_us)
    uptime_us = up_us
    lastTick_us = at_us
    const slept = slept_us > uptime_noise_us
    // What a sleep means for the run is decided before a line asks anything: a cut-off relay may have opened meanwhile.
    if (slept) event({ kind: 'tick', late_us, slept_us })
    for (const { config } of start.lines)
      feed({ kind: 'port', port: config.port, line: { kind: 'time', t_us: now_us() } })
    if (!slept) event({ kind: 'tick', late_us, slept_us: 0 })
    // Were we ourselves held up, the parent's beats wait unread: that time is not its silence.
    parentBeat_us = Math.min(at_us, parentBeat_us + held_us)
    if (at_us - parentBeat_us > beat_lost_us)
      parentLost(`no heartbeat for ${Math.round((at_us - parentBeat_us) / 1000)} ms`)
    if (!ready) comingUp(at_us)
    if (at_us - beatSent_us >= beat_us && !ended) {
      beatSent_us = at_us
      say({ kind: 'beat', judged })
    }
  }

  const comingUp = (at_us: number): void => {
    const lines = Object.values(loop.lines)
    // What was found on is being put off, whoever else answers.
    if (lines.every((line) => line.link === 'ready') || foundOn) {
      ready = true
      const identities: Record<string, string> = {}
      for (const line of lines) identities[line.config.port] = line.identity ?? ''
      say({ kind: 'ready', identities })
    } else if (at_us > start_within_us) {
      const silent = lines.filter((line) => line.link !== 'ready').map((line) => line.config.port)
      notReachable(`${silent.join(', ')}: not ready within ${start_within_us / 1e6} s`)
    }
  }

  let lost = false
  const parentLost = (text: string): void => {
    if (lost) return
    lost = true
    event({ kind: 'parent lost', text })
  }
  process.on('disconnect', () => {
    if (!begun && !foundOn) process.exit(0)
    parentLost('its end of the connection closed')
  })
  process.on('message', (raw) => {
    parentBeat_us = real_us()
    const parsed = toControllerShape.safeParse(raw)
    if (!parsed.success) {
      say({
        kind: 'trouble',
        text: `A message to the controller was not understood: ${parsed.error.message}`,
      })
      return
    }
    const message = parsed.data
    switch (message.kind) {
      case 'start':
      case 'beat':
        return
      case 'begin':
        begun = true
        event({
          kind: 'begin',
          word: message.word,
          channel: message.channel,
          hooked_up_as_in: message.hooked_up_as_in,
        })
        return
      case 'answer':
        event({ kind: 'answer', prompt: message.prompt, value: message.value, by: message.by })
        return
      case 'stop':
        event({ kind: 'stop', how: message.how, by: message.by })
        return
    }
  })

  views.pipe(auditTime(100)).subscribe(() => {
    say({ kind: 'view', view: viewOf(loop.sequencer) })
  })
  for (const { config } of start.lines) connect(config.port)
  const ticking = setInterval(tick, period_ms)
}

/**
 * How long the recorder is given for what it has not confirmed, as long as before it counts as lost, and then the supervisor for
 * the same, real ms. Outputs are off by then: a disk that is only slow is waited for, and the record is whole in its own file.
 */
const record_within_ms = 10_000
const hand_over_within_ms = 2000
const entries_in_message = 500

/** What the record did not confirm goes to the supervisor, a piece at a time; `then` once it was taken, or time is up. */
function handOver(entries: readonly RunEntry[], then: () => void): void {
  const given = setTimeout(then, hand_over_within_ms)
  const next = (from: number): void => {
    const piece = entries.slice(from, from + entries_in_message)
    if (piece.length > 0) {
      say({ kind: 'unrecorded', lines: jsonLines(piece) }, () => {
        next(from + piece.length)
      })
    } else {
      clearTimeout(given)
      then()
    }
  }
  next(0)
}

/** os.uptime() is coarse on some systems. */
const uptime_noise_us = 200_000
