import { describe, expect, it } from 'vitest'
import {
  confirmEvery_us,
  type KeepInput,
  keepBegin,
  type KeepOutput,
  keepStep,
} from '../../src/record/keep.js'
import type { RunEntry } from '../../src/record/index.js'
import { event, tripped } from '../helpers/runs.js'

const linger_us = 5e6
const reading: RunEntry = { entry: 'reading', stream: 1, t_us: 7, n: 1, k: 0 }
const ending: RunEntry = { entry: 'ending', t_us: 9, ending: tripped }

/** Feeds inputs and gives every output; a commit is answered as done. */
function keep(...inputs: KeepInput[]): KeepOutput[] {
  let state = keepBegin(0)
  const outputs: KeepOutput[] = []
  const feed = (input: KeepInput): void => {
    const result = keepStep(state, input, linger_us)
    state = result.state
    for (const output of result.outputs) {
      outputs.push(output)
      if (output.do === 'commit') feed({ kind: 'committed', now_us: input.now_us })
    }
  }
  inputs.forEach(feed)
  return outputs
}
const hello = (client: string, from: string): KeepInput => ({ kind: 'hello', client, from, now_us: 0 })
const batch = (client: string, seq: number, ...entries: RunEntry[]): KeepInput => ({
  kind: 'entries',
  now_us: 0,
  client,
  seq,
  entries,
})
const done = (outputs: readonly KeepOutput[]) =>
  outputs.map((output) => (output.do === 'send' ? `${output.message.kind} to ${output.client}` : output.do))
const own = (outputs: readonly KeepOutput[]) =>
  outputs
    .flatMap((output) => ('entries' in output ? output.entries : []))
    .flatMap((e) => (e.entry === 'event' && e.event.from === 'recorder' ? [e.event.what] : []))

describe('what the recorder decides', () => {
  it('commits durable entries at once and confirms them to whoever sent them', () => {
    expect(done(keep(hello('1', 'controller'), batch('1', 1, event(1, { intent: 4 }))))).toEqual([
      'append',
      'commit',
      'recorded to 1',
      'confirmed to 1',
    ])
  })

  it('commits readings within a second, and confirms all clients then', () => {
    const outputs = keep(
      hello('1', 'controller'),
      hello('2', 'supervisor'),
      batch('1', 1, reading),
      batch('2', 1, event(2, { durable: false })),
      { kind: 'tick', now_us: confirmEvery_us - 1 },
      { kind: 'tick', now_us: confirmEvery_us },
    )
    expect(done(outputs)).toEqual(['append', 'append', 'commit', 'confirmed to 1', 'confirmed to 2'])
    expect(confirmEvery_us).toBeLessThan(1e6)
  })

  it('confirms nothing any more once the file takes no more, and puts all elsewhere', () => {
    const outputs = keep(
      hello('1', 'controller'),
      { kind: 'failed', text: 'full', now_us: 0 },
      batch('1', 1, event(1, { intent: 1 })),
      { kind: 'tick', now_us: 2e6 },
      hello('2', 'supervisor'),
    )
    expect(done(outputs)).toEqual(['divert', 'trouble to 1', 'divert', 'trouble to 2'])
  })

  it('says when batches are missing, or come from one who did not say hello', () => {
    expect(done(keep(hello('1', 'controller'), batch('1', 2, reading)))).toEqual(['trouble to 1', 'append'])
    expect(done(keep(batch('1', 1, reading)))).toEqual(['trouble to 1'])
  })

  it('finishes at once when the last client closes after an ending', () => {
    const outputs = keep(
      hello('1', 'controller'),
      hello('2', 'supervisor'),
      batch('1', 1, ending),
      { kind: 'close', client: '1', now_us: 1 },
      { kind: 'close', client: '2', now_us: 2 },
      { kind: 'tick', now_us: 1e9 },
    )
    expect(done(outputs)).toEqual(['append', 'commit', 'confirmed to 1', 'closed to 1', 'finish'])
  })

  it('confirms what a client told last before it lets it go: readings come until the very end', () => {
    const outputs = keep(
      hello('1', 'controller'),
      hello('2', 'supervisor'),
      batch('1', 1, ending),
      batch('1', 2, reading),
      { kind: 'close', client: '1', now_us: 1 },
    )
    expect(done(outputs).slice(3)).toEqual(['append', 'commit', 'confirmed to 1', 'closed to 1'])
    const alone = keep(hello('1', 'controller'), batch('1', 1, ending), batch('1', 2, reading), {
      kind: 'close',
      client: '1',
      now_us: 1,
    })
    expect(done(alone).slice(3)).toEqual(['append', 'commit', 'confirmed to 1', 'finish'])
  })

  it('writes down that a client was lost and that no ending came', () => {
    const outputs = keep(
      hello('1', 'controller'),
      { kind: 'gone', client: '1', now_us: 1 },
      { kind: 'tick', now_us: linger_us },
      { kind: 'tick', now_us: linger_us + 1 },
    )
    expect(own(outputs)).toEqual(['client lost', 'no ending'])
    expect(done(outputs).at(-1)).toBe('finish')
  })

  it('waits half a minute for its first client, not for ever', () => {
    expect(keep({ kind: 'tick', now_us: 29e6 })).toEqual([])
    expect(done(keep({ kind: 'tick', now_us: 31e6 })).at(-1)).toBe('finish')
  })
})
