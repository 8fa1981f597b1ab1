import { cpSync, mkdtempSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { formedIn } from '../../src/record/index.js'
import { LiveRun } from '../helpers/live-run.js'

const runs: LiveRun[] = []
afterEach(async () => {
  for (const run of runs.splice(0)) await run.end()
})

/** Two small parts and few volts, so that a night passes in a minute; at such a pace readings come too far apart for a capacitance. */
function forming(...more: string[]): { run: LiveRun; folder: string; profile: string } {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  cpSync('profiles/tern-rock', folder, { recursive: true })
  const profile = join(folder, 'short.yaml')
  writeFileSync(
    profile,
    `slowglow: profile 1
name: two parts, shortened
kind: reform
equipment: equipment.yaml
bench: reform-bench.yaml
time_budget: 3 h
reform:
  to: 60 V
  hold: 2 min
  rest: 1 min
  parts:
    C3: { feed: 47k, feed_rated: 2 W }
    C5: { feed: 47k, feed_rated: 2 W }
`,
  )
  const run = new LiveRun([profile, '--speed', '20', ...more], folder)
  runs.push(run)
  return { run, folder, profile }
}

describe('a shortened reform over terminal lines', () => {
  it('ends with a verdict for each part, and outputs off', async () => {
    const { run } = forming()
    await run.session.shows(/ELECTROLYTICS UNDER TREATMENT/)
    await run.acknowledge()
    expect([0, 1]).toContain(await run.exit(170_000))
    const { ending, events, known } = run.record()
    expect(ending?.reason?.text ?? null).toBeNull()
    expect(ending?.outcome).toBe('completed')
    expect(ending?.outputs_off).toBe('confirmed')
    const formed = known === null ? [] : formedIn(known.plan, events)
    expect(formed.map(({ part }) => part)).toEqual(['C3', 'C5'])
    for (const { leak_A, volts, verdict } of formed) {
      expect(leak_A).not.toBeNull()
      expect(volts).toBeGreaterThan(30)
      expect(verdict).not.toBe('not finished')
    }
  }, 180_000)

  it('that was stopped says how far it had come, and is taken up only when asked', async () => {
    const first = forming()
    await first.run.acknowledge()
    await first.run.session.shows(/rung 7/, 120_000)
    first.run.session.type('s')
    expect(await first.run.exit(60_000)).toBe(7)
    const again = new LiveRun([first.profile, '--speed', '20'], first.folder)
    runs.unshift(again)
    await again.session.shows(/did not come to its end: C3 was held to its end at [\d.]+ V/)
    await again.session.shows(/This run begins from below\. --continue/)
    await again.session.shows(/type the word/)
    again.session.type('\u0003')
    await again.exit()
    const taken = new LiveRun([first.profile, '--speed', '20', '--continue'], first.folder)
    runs.unshift(taken)
    await taken.session.shows(/taken up there, after a fresh check at the lowest step/)
    await taken.session.shows(/type the word/)
    taken.session.type('\u0003')
    await taken.exit()
  }, 180_000)
})
