import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { afterEach, describe, expect, it } from 'vitest'
import { LiveRun, shortProfile } from '../helpers/live-run.js'
import { slowDisk } from '../helpers/slow-disk.js'

let run: LiveRun | null = null
afterEach(async () => {
  await run?.end()
  run = null
})

/** A run whose recorder can be held in a commit: until `free` is called, everything but the record goes on. */
async function onSlowDisk(...args: string[]) {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  const [gate, held] = [join(folder, 'gate'), join(folder, 'held')]
  const live = new LiveRun([shortProfile, '--speed', '10', ...args], folder, {
    NODE_OPTIONS: slowDisk(gate, held),
  })
  run = live
  await live.acknowledge()
  return {
    live,
    hold: async () => {
      writeFileSync(gate, '')
      while (!existsSync(held)) await sleep(5)
    },
    free: () => {
      rmSync(gate)
    },
  }
}

describe('a disk that does not answer for seconds', () => {
  it('holds up no trip: HT is off while the recorder still stands, and reason and readings are in the record afterwards', async () => {
    const { live, hold, free } = await onSlowDisk('--fault', 'C1b:short@HT>120V')
    await live.htAbove(62)
    await hold()
    const from = live.session.seen.length
    await live.session.shows(/Outputs going off, being confirmed/, 40_000, from)
    await live.session.shows(/ HT +[\d.]+ m?V +[^\n]*output off/, 40_000, from)
    // No longer: a disk that stands for more than ten seconds is given up, which is another matter, and a busy machine is slow.
    free()
    expect(await live.exit()).toBe(3)
    const { ending, events } = live.record()
    expect(ending).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed', reason: { rail: 'HT' } })
    expect(events.some(({ what }) => what === 'trip')).toBe(true)
    // Nothing dropped, nobody lost, no file beside it: batches are numbered, and a missing one would be trouble. The replay at the end of
    // each run shows that every decision rests on what is there, which is less: a reading that decided nothing would not be missed.
    expect(events.filter(({ what }) => what === 'dropped' || what === 'client lost')).toEqual([])
    expect(live.session.seen).not.toContain('is kept in')
  })

  it('holds up the next raise, and nothing else: the run goes on when the record is back', async () => {
    const { live, hold, free } = await onSlowDisk()
    await live.htAbove(20)
    await hold()
    await live.session.shows(/waiting for the record/, 40_000, live.session.seen.length)
    free()
    expect([0, 1]).toContain(await live.exit(100_000))
    expect(live.record().ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
  })
})
