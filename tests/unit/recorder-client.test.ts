import { createServer } from 'node:net'
import { join } from 'node:path'
import { describe, expect, it, onTestFinished } from 'vitest'
import { connectRecorder } from '../../src/record/client.js'
import type { RunEntry } from '../../src/record/index.js'
import { event, folder } from '../helpers/runs.js'

const reading = (t_us: number): RunEntry => ({ entry: 'reading', stream: 1, t_us, n: 1, k: 0 })

/** A client of a recorder that takes everything and confirms nothing. */
async function unheard(most: number) {
  const path = join(folder(), 'recorder')
  const server = createServer((socket) => socket.resume())
  await new Promise<void>((resolve) => {
    server.listen(path, resolve)
  })
  const trouble: string[] = []
  const client = connectRecorder(
    path,
    'controller',
    { recorded: () => undefined, trouble: (text) => trouble.push(text) },
    { most },
  )
  onTestFinished(async () => {
    await client.close(10)
    server.close()
  })
  const told = (): string[] =>
    client.unconfirmed().flatMap((entry) => (entry.entry === 'event' ? [entry.event.what] : []))
  return { client, trouble, told }
}

describe('a queue to the recorder that is full', () => {
  it('still takes trip, OFF and ending, says how many readings it dropped, and is trouble once', async () => {
    const { client, trouble, told } = await unheard(100)
    for (let i = 0; i < 140; i++) client.append([reading(i)])
    expect(trouble).toEqual([expect.stringContaining('queue to the recorder is full')])
    expect(client.append([event(141, { what: 'trip' })])).toBe(true)
    client.append([event(142, { what: 'off' }), reading(142)])
    expect(told()).toEqual(['dropped', 'trip', 'off'])
    const [gap] = client.unconfirmed().flatMap((entry) => (entry.entry === 'event' ? [entry.event] : []))
    expect(gap?.t_us).toBe(139)
    expect(gap?.text).toMatch(/^40 entries/)
    expect(trouble).toHaveLength(1)
  })

  it('is bounded for what happened as well', async () => {
    const { client } = await unheard(80)
    for (let i = 0; i < 1000; i++) client.append([event(i)])
    expect(client.unconfirmed()).toHaveLength(90)
    expect(client.append([event(1001)])).toBe(false)
  })
})
