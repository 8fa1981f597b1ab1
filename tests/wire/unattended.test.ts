import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { Broker, password, skipWithoutBroker, user } from '../helpers/broker.js'
import { LiveRun } from '../helpers/live-run.js'
import { skipWithoutSocat } from '../helpers/pty.js'
import { gone, plain } from '../helpers/terminal.js'
import { fakeInhibitor, fitFiles, grantsSleepHold } from '../helpers/unattended.js'

const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const close of closers.splice(0).reverse()) await close()
})

const grants = grantsSleepHold
const refuses = 'echo "no login service here" >&2; exit 1'

function started(inhibitor: string, more: Parameters<typeof fitFiles>[1] = {}): LiveRun {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  const profile = fitFiles(folder, more)
  const env = { ...fakeInhibitor(folder, inhibitor), BROKER_PASSWORD: password }
  const run = new LiveRun([profile, '--speed', '10', '--unattended'], folder, env)
  closers.push(() => run.end())
  return run
}

/** Types the word that confirms what unattended work needs; the word of the run itself comes after it. */
async function confirmed(run: LiveRun): Promise<void> {
  const [, word = ''] = await run.session.shows(/confirm that all of it is so[^]*type the word: (\w+)/)
  expect(run.session.seen).toContain('UNATTENDED')
  expect(run.session.seen).not.toContain('THE VOLTAGES INSIDE KILL')
  const from = run.session.seen.length
  run.session.type(`${word}\r`)
  await run.acknowledge(from)
}

describe.skipIf(skipWithoutBroker() || skipWithoutSocat())('a run that is left alone', () => {
  it('asks a word of its own, proves the dead-man, tells the broker, and tells of silence when it is killed', async () => {
    const at = await Broker.start('bench/#')
    closers.push(() => at.stop())
    const run = started(grants, {
      alerts: `  - { kind: mqtt, url: "${at.url}", topic: bench/night, user: ${user}, password_from: BROKER_PASSWORD }`,
    })
    await confirmed(run)
    await at.hears('bench/night/alert', { kind: 'start' })
    await run.htAbove(30, 80_000)
    const { controller } = run
    process.kill(run.session.leader, 'SIGKILL')
    await at.hears('bench/night/state', { kind: 'silence', severity: 'alarm' })
    await gone(controller)
    const { ending, events } = run.record()
    expect(ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(ending?.reason?.code).toBe('parent-lost')
    expect(events.some(({ what }) => what === 'unattended')).toBe(true)
    const fired = events.findIndex(({ text }) => text.includes('dead-man fired as it should'))
    expect(fired).toBeGreaterThan(0)
    expect(events.findIndex(({ text }) => /^Raise HT .* to 60/.test(text))).toBeGreaterThan(fired)
  })

  it('is refused where nothing keeps the computer awake, before any word', async () => {
    const run = started(refuses)
    expect(await run.exit()).toBe(1)
    expect(run.session.seen).toMatch(/going to sleep \(systemd-inhibit ended with 1: no login service here\)/)
    expect(run.session.seen).not.toContain('type the word')
    expect(run.file).toBeNull()
  })

  it('counts on an outside timer that is confirmed with the word, and begins nothing where that is given up', async () => {
    const run = started(grants, { dead_man: false })
    await run.session.shows(/THE OUTSIDE TIMER in the mains of high/)
    await run.session.shows(/type the word: \w+/)
    run.session.type('\u0003')
    expect(await run.exit()).toBe(7)
    expect(run.session.seen).toContain('Given up before anything was energised')
    expect(run.file).toBeNull()
  })
})

describe('a rehearsal of a run that is to be left alone', () => {
  it('shows what is to be confirmed and what would forbid it, and lists the alerts that such a run would send', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
    closers.push(() => Promise.resolve(rmSync(folder, { recursive: true, force: true })))
    const profile = fitFiles(folder, {
      alerts:
        '  - { kind: webhook, url: "https://alerts.example/x", headers_from: { Authorization: NO_SUCH_VARIABLE } }\n  - { kind: command, run: [notify], least: alarm }',
    })
    const { out, err, code } = await plain(['rehearse', profile, '--unattended', '--json', '--out', folder])
    expect([0, 1]).toContain(code)
    expect(err).toContain('UNATTENDED')
    expect(err).toMatch(/A run would be refused: NO_SUCH_VARIABLE is not set/)
    const { alerts } = JSON.parse(out) as { alerts: { kind: string; to: string[] }[] }
    expect(alerts[0]).toMatchObject({ kind: 'start', to: ['webhook alerts.example'] })
    expect(alerts.at(-1)?.kind).toBe('finish')
    expect(alerts.filter(({ kind }) => kind === 'step').length).toBeGreaterThan(5)
    expect(alerts.some(({ to }) => to.includes('command notify'))).toBe(false)
  })
})
