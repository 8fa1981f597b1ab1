import { offFirst } from '../../../src/controller/off-first.js'
import { createPorts } from '../../../src/controller/ports.js'
import {
  createLoop,
  firstLook,
  type Given,
  type Loop,
  loopStep,
  type LoopInput,
} from '../../../src/loop/index.js'
import type { Command, EventBody } from '../../../src/sequencer/index.js'
import { streamIds, streamsOf, toldOfEvent, toldOfRecord, type RunEntry } from '../../../src/story/index.js'
import type { FromRunner, ToRunner } from './messages.js'
import { configs, ports as names, speed, wholePlan } from './whole.js'

/**
 * One whole run after another on the same terminal lines, each with connections of its own: opened, identified, raised to its
 * last hold, tripped there by the far end, gone off and confirmed. A person who says yes and a record that confirms at once
 * are of this file; everything else is the code of `src`.
 */
const tick_ms = 2
const plan = wholePlan()
const ids = streamIds(streamsOf(plan))
const say = (message: FromRunner): void => {
  process.send?.(message)
}

process.on('message', (message: ToRunner) => {
  run(message.paths)
})
process.on('disconnect', () => process.exit(0))

function run(paths: readonly string[]): void {
  const began = process.hrtime.bigint()
  const now_us = (): number => Math.round((Number(process.hrtime.bigint() - began) / 1000) * speed)
  let loop: Loop = createLoop(plan, configs)
  let told: RunEntry[] = []
  let begun = false
  let standing = false
  let over = false

  const take = (input: LoopInput, given: Given | null): void => {
    if (over) return
    const looped = loopStep(loop, input, ports.write, false, given)
    loop = looped.loop
    for (const output of looped.outputs) {
      if (output.kind === 'fed') told.push(toldOfEvent(output.event, ids, 'controller'))
      else if (output.kind === 'reopen')
        ports.drop(output.port, () => {
          open(output.port)
        })
      else if (output.kind === 'command') obey(output.command, output.t_us)
    }
    if (told.length > 1000) told = []
  }
  const feed = offFirst((input: LoopInput) => firstLook(loop, input, ports.write), take)
  const event = (body: EventBody): void => {
    feed({ kind: 'event', event: { ...body, t_us: now_us() } })
  }
  const obey = (command: Command, t_us: number): void => {
    if (command.kind === 'record') {
      told.push(toldOfRecord(command.entry, t_us, 'controller'))
      const { intent } = command.entry
      if (intent !== null)
        setImmediate(() => {
          event({ kind: 'recorded', intent })
        })
    } else if (command.kind === 'prompt') {
      const { wants } = command.ask
      const value = wants.kind === 'confirm' ? 'yes' : (wants.low + wants.high) / 2
      setImmediate(() => {
        event({ kind: 'answer', prompt: command.prompt, value, by: 'rehearsal' })
      })
    } else if (command.kind === 'end') {
      over = true
      clearInterval(ticking)
      const { outcome, reason, outputs_off } = command.ending
      void ports.close().then(() => {
        say({ kind: 'over', outcome, code: reason?.code ?? '', outputs_off })
      })
    }
  }
  const ports = createPorts(now_us, (port, line) => {
    feed({ kind: 'port', port, line })
  })
  const open = (name: string): void => {
    const path = paths[names.indexOf(name)] ?? ''
    ports.open(name, { kind: 'serial', path, baud: 115_200, spare_allowed: true })
  }
  const ticking = setInterval(() => {
    for (const port of names) feed({ kind: 'port', port, line: { kind: 'time', t_us: now_us() } })
    event({ kind: 'tick', late_us: 0, slept_us: 0 })
    if (!begun && Object.values(loop.lines).every(({ link }) => link === 'ready')) {
      begun = true
      event({ kind: 'begin', word: 'kettle', channel: 'rehearsal', hooked_up_as_in: null })
    }
    const { phase, step, part } = loop.sequencer
    if (standing || phase !== 'running' || step < plan.steps.length - 1 || part !== 'hold') return
    standing = true
    say({ kind: 'standing' })
  }, tick_ms)
  for (const name of names) open(name)
}
