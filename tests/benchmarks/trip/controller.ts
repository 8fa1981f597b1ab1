import { offFirst } from '../../../src/controller/off-first.js'
import { createPorts } from '../../../src/controller/ports.js'
import { connectRecorder } from '../../../src/record/client.js'
import { firstLook, type Given, loopStep, type LoopInput } from '../../../src/loop/index.js'
import { view as viewOf } from '../../../src/sequencer/index.js'
import { streamIds, streamsOf, toldOfEvent, toldOfRecord, type RunEntry } from '../../../src/story/index.js'
import { armed as arm } from './armed.js'
import type { ToldAll, ToSide } from './messages.js'

/**
 * The controller's own path — adapter, gate, line, sequencer, urgent write, and what is told of it — with a run that is put
 * back to its armed state after every trip. What it drives is the code of `src`; only the putting back is of this file.
 */
const tick_ms = 25
/** Views go to the parent at most so often, as in a run. */
const view_ms = 100

process.once('message', (message: ToSide) => {
  if (message.do === 'close') return
  const { do: what, lines } = message
  if (message.recorder === undefined) throw new Error('A controller tells a recorder.')
  const recorder = recording(message.recorder)
  const start = arm(lines.paths.length, lines.channels)
  const names = Object.keys(start.loop.lines)
  const ids = streamIds(streamsOf(start.plan))
  let { loop } = start
  let at = process.hrtime.bigint()
  /** Time of the run: goes on from where it was armed, so that nothing in it has become stale. */
  const now_us = (): number => start.t_us + Math.round(Number(process.hrtime.bigint() - at) / 1000)
  const take = (input: LoopInput, given: Given | null): void => {
    const looped = loopStep(loop, input, ports.write, false, given)
    loop = looped.loop
    const told: RunEntry[] = []
    for (const output of looped.outputs) {
      if (output.kind === 'fed') told.push(toldOfEvent(output.event, ids, 'controller'))
      else if (output.kind === 'command' && output.command.kind === 'record')
        told.push(toldOfRecord(output.command.entry, output.t_us, 'controller'))
    }
    if (told.length > 0) recorder.append(told)
    if (what === 'trips' && loop.sequencer.phase === 'making off' && !again) {
      again = true
      setImmediate(rearm)
    }
  }
  const feed = offFirst((input: LoopInput) => firstLook(loop, input, ports.write), take)
  let again = false
  const rearm = (): void => {
    again = false
    loop = start.loop
    at = process.hrtime.bigint()
    // One supply is asked, as in the yardstick; the others are as silent as its others.
    const [first = ''] = names
    ports.write(first, start.asked[first] ?? '')
  }
  const ports = createPorts(now_us, (port, line) => {
    // The lines of the armed state are open already.
    if (line.kind !== 'opened') {
      feed({ kind: 'port', port, line })
      return
    }
    opened += 1
    if (opened < names.length) return
    if (what === 'trips') rearm()
    else {
      at = process.hrtime.bigint()
      for (const name of names) ports.write(name, start.asked[name] ?? '')
    }
    setInterval(() => {
      for (const name of names) feed({ kind: 'port', port: name, line: { kind: 'time', t_us: now_us() } })
      if (what === 'trips')
        feed({ kind: 'event', event: { kind: 'tick', late_us: 0, slept_us: 0, t_us: now_us() } })
    }, tick_ms)
    setInterval(() => process.send?.({ kind: 'view', view: viewOf(loop.sequencer) }), view_ms)
  })
  let opened = 0
  for (const [index, name] of names.entries()) {
    const path = lines.paths[index] ?? ''
    ports.open(name, { kind: 'serial', path, baud: 115_200, spare_allowed: true })
  }
})
process.on('disconnect', () => process.exit(0))

/** Trips come here a thousand times as often as in a life of runs: the queue is as much wider, so that none is dropped. */
const most = 1_048_576

/** A line to the recorder process; asked to close, it says how much it was given. */
function recording(socket: string): { append(entries: readonly RunEntry[]): void } {
  let entries = 0
  let closing = false
  let trouble: string | null = null
  const client = connectRecorder(
    socket,
    'controller',
    {
      recorded: () => undefined,
      trouble: (text) => {
        trouble ??= text
      },
    },
    { most },
  )
  process.on('message', (message: ToSide) => {
    if (message.do !== 'close') return
    closing = true
    void client.close(60_000).then(() => {
      process.send?.({ kind: 'told', entries, trouble } satisfies ToldAll)
    })
  })
  return {
    append(given) {
      if (closing) return
      entries += given.length
      client.append(given)
    },
  }
}
