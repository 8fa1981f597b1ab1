import { describe, expect, it } from 'vitest'
import { chance } from '../../src/chance/index.js'
import type { LineRequestBody } from '../../src/exchange/index.js'
import { lineConfigOf, lineStep, lineWakeAt, openLine, type LineInput } from '../../src/line/index.js'
import { createSupplyDevice } from '../../src/virtual/supplies.js'
import { faceOf } from '../helpers/line-world.js'
import { referenceSupply } from '../helpers/reference.js'
import { vectors, type Vector } from '../helpers/vectors.js'

/**
 * The computer's half: given what the supply said, the line writes exactly what the transcript says, in order. `form` chooses
 * among the allowed forms of each reply; the reading then differs in its digits after the point, and only there.
 */
function computerSide(vector: Vector, form = -1): void {
  // Times of the transcripts are those of a line that takes none.
  const line = { kind: 'virtual', as: 'tcp', baud: 115_200, spare_allowed: true } as const
  let state = openLine(lineConfigOf('BENCH', { ...referenceSupply(vector.options), line }))
  let written = ''
  const events: unknown[] = []
  const give = (input: LineInput): void => {
    const done = lineStep(state, input)
    state = done.state
    for (const output of done.outputs) {
      if (output.kind === 'write') written += output.text
      if (output.kind === 'event') events.push(output.event)
    }
  }
  for (const step of vector.steps) {
    const t_us = Math.round(step.at_ms * 1000)
    for (let at = lineWakeAt(state); at !== null && at <= t_us; at = lineWakeAt(state)) {
      give({ kind: 'time', t_us: at })
      if (lineWakeAt(state) === at) break
    }
    if ('opened' in step) give({ kind: 'opened', t_us })
    else if ('supply' in step) give({ kind: 'text', t_us, text: step.allowed?.[form] ?? step.supply })
    else if ('urgent_off' in step) give({ kind: 'urgent off', t_us, channels: step.urgent_off })
    else if ('request' in step) {
      const { id, channel, ...body } = step.request
      give({ kind: 'request', t_us, id, channel, ...(body as unknown as LineRequestBody) })
    } else if ('computer' in step) {
      expect(written.slice(0, step.computer.length + 1), `at ${step.at_ms} ms`).toBe(`${step.computer}\n`)
      written = written.slice(step.computer.length + 1)
    } else if ('event' in step && form < 0) {
      expect(events, `at ${step.at_ms} ms`).toContainEqual(step.event)
    }
  }
  expect(written).toBe('')
}

/** The supply's half: given what the computer wrote, the virtual supply answers exactly what the transcript says, in order. */
function supplySide(vector: Vector): void {
  const outputs = { plate: faceOf(), bias: faceOf() }
  const supply = referenceSupply(vector.options)
  const device = createSupplyDevice({ name: 'BENCH', supply, outputs, chance: chance(1) })
  let said = ''
  let t_us = 0
  let asked_us = 0
  for (const step of vector.steps) {
    t_us = Math.max(t_us, Math.round(step.at_ms * 1000))
    said += device.take(t_us)
    if ('terminals' in step) {
      for (const [name, now] of Object.entries(step.terminals)) {
        Object.assign(name === 'plate' ? outputs.plate : outputs.bias, {
          measured_V: now.V,
          measured_A: now.A,
          limiting: now.limiting ?? false,
        })
      }
    } else if ('computer' in step) {
      device.receive(`${step.computer}\n`, t_us)
      asked_us = t_us
    } else if ('supply' in step || 'lost' in step) {
      const text = 'supply' in step ? step.supply : step.lost
      for (let next = device.next_us(); said === '' && next !== null; next = device.next_us()) {
        t_us = Math.max(t_us, next)
        said += device.take(t_us)
      }
      expect(said.slice(0, text.length + 1), `at ${step.at_ms} ms`).toBe(`${text}\n`)
      if ('supply' in step && step.within_ms !== undefined)
        expect((t_us - asked_us) / 1000, `at ${step.at_ms} ms`).toBeLessThanOrEqual(step.within_ms)
      said = said.slice(text.length + 1)
    }
  }
  expect(said).toBe('')
}

describe.each(vectors())('the transcript $file', ({ vector }) => {
  if (vector.sides.includes('computer')) {
    it(`is what the line writes: ${vector.title}`, () => {
      computerSide(vector)
    })
  }
  if (vector.steps.some((step) => 'supply' in step && step.allowed !== undefined)) {
    it('is followed by the same messages whichever allowed form each reply takes', () => {
      for (const form of [0, 1, 2]) computerSide(vector, form)
    })
  }
  if (vector.sides.includes('supply')) {
    it(`is what the virtual supply answers: ${vector.title}`, () => {
      supplySide(vector)
    })
  }
})
