import { cpSync, mkdtempSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { plansDesk } from '../../src/cli/desk/plans.js'
import { formedIn } from '../../src/record/index.js'
import { Broker, password, skipWithoutBroker, user } from '../helpers/broker.js'
import { LiveRun } from '../helpers/live-run.js'
import { skipWithoutSocat } from '../helpers/pty.js'
import { plain } from '../helpers/terminal.js'
import { fakeInhibitor, fitFormingFiles, grantsSleepHold } from '../helpers/unattended.js'

const runs: LiveRun[] = []
const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const run of runs.splice(0)) await run.end()
  for (const close of closers.splice(0)) await close()
})

/** Two small parts and few volts, so that a night passes in a minute; at such a pace readings come too far apart for a capacitance. */
function forming(alerts: string | null): { run: LiveRun; folder: string; profile: string } {
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
unattended: true
reform:
  to: 60 V
  hold: 2 min
  rest: 1 min
  parts:
    C3: { feed: 47k, feed_rated: 2 W }
    C5: { feed: 47k, feed_rated: 2 W }
`,
  )
  if (alerts !== null) fitFormingFiles(folder, alerts)
  const env = { ...fakeInhibitor(folder, grantsSleepHold), BROKER_PASSWORD: password }
  const args = [profile, '--speed', '20', ...(alerts === null ? [] : ['--unattended'])]
  const run = new LiveRun(args, folder, env)
  runs.push(run)
  return { run, folder, profile }
}

describe.skipIf(skipWithoutBroker() || skipWithoutSocat())('a shortened reform over terminal lines', () => {
  it('that is left alone ends with a verdict for each part and outputs off, and a broker is told of it', async () => {
    const at = await Broker.start('bench/#')
    closers.push(() => at.stop())
    const { run } = forming(
      `  - { kind: mqtt, url: "${at.url}", topic: bench/night, user: ${user}, password_from: BROKER_PASSWORD }`,
    )
    const [, word = ''] = await run.session.shows(/confirm that all of it is so[^]*type the word: (\w+)/)
    expect(run.session.seen).toContain('A part that is given up ends the run for all of them')
    const from = run.session.seen.length
    run.session.type(`${word}\r`)
    await run.acknowledge(from)
    await run.session.shows(/ELECTROLYTICS UNDER TREATMENT/)
    await at.hears('bench/night/alert', { kind: 'start' })
    expect([0, 1]).toContain(await run.exit(170_000))
    await at.hears('bench/night/alert', { kind: 'step' })
    await at.hears('bench/night/state', { kind: 'finish', outputs: 'confirmed off' })
    const { ending, events, known } = run.record()
    expect(ending?.reason?.text ?? null).toBeNull()
    const fired = events.findIndex(({ text }) => text.includes('dead-man fired as it should'))
    expect(fired).toBeGreaterThan(0)
    const opened = events.findIndex(({ text }) => text.includes('cut-off relay fired as it should'))
    expect(opened).toBeGreaterThan(fired)
    expect(events.findIndex(({ text }) => text.includes('rung 1'))).toBeGreaterThan(opened)
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
    const first = forming(null)
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
    const [, name = ''] = /last run of this profile \((\S+)\)/.exec(again.session.seen) ?? []
    const tried = await plain(['rehearse', first.profile, '--continue', name, '--out', first.folder])
    expect(tried.err).toMatch(/taken up there, after a fresh check at the lowest step/)
    expect([0, 1]).toContain(tried.code)
    // The page offers the same, and takes it up where a person ticked it.
    const page = plansDesk({ folder: first.folder, runs: first.folder, elsewhere: [], env: process.env })
    const told = await page.plan({ profile: 'short.yaml', parts: false })
    expect(told.unfinished).toMatchObject({ run: name, why_not: null })
    const order = { profile: 'short.yaml', faults: [], speed: 20 }
    const below = await page.prepare({ ...order, continues: false })
    const on = await page.prepare({ ...order, continues: true })
    expect(on.plan.steps.length).toBeLessThan(below.plan.steps.length)
  }, 180_000)
})
