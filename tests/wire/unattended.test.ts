import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { afterEach, describe, expect, it } from 'vitest'
import { Broker, freePort, password, skipWithoutBroker, user } from '../helpers/broker.js'
import { LiveRun } from '../helpers/live-run.js'
import { replayAll } from '../helpers/replayed.js'
import { skipWithoutSocat } from '../helpers/pty.js'
import { gone, plain, processesWith } from '../helpers/terminal.js'
import { fakeInhibitor, fitFiles, grantsSleepHold } from '../helpers/unattended.js'

const closers: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const close of closers.splice(0).reverse()) await close()
})

const grants = grantsSleepHold
/** Lets go once it is told to, and by itself after a minute. */
const holdsUntil =
  'echo held; n=0; while [ ! -e "$0.let-go" ] && [ $n -lt 600 ]; do sleep 0.1; n=$((n+1)); done; exit 3'
async function letsGo({ folder }: LiveRun): Promise<void> {
  const hold = join(folder, 'systemd-inhibit')
  const [holder = 0] = processesWith(hold)
  writeFileSync(`${hold}.let-go`, '')
  await gone(holder)
  // The program hears of it a moment later: on a busy machine not before the next key is typed.
  await sleep(500)
}
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

  it('begins nothing where a place of its alerts takes none', async () => {
    const port = await freePort()
    const run = started(grants, { alerts: `  - { kind: webhook, url: "http://127.0.0.1:${port}/x" }` })
    await confirmed(run)
    expect(await run.exit(40_000)).toBe(1)
    expect(run.session.seen).toMatch(
      /an alert on trial did not arrive everywhere \(webhook 127\.0\.0\.1:\d+: .*ECONNREFUSED/,
    )
    const { events, ending } = run.record()
    expect(ending?.outputs_off).toBe('confirmed')
    expect(events.some(({ what }) => what === 'begin')).toBe(false)
  })

  it('is refused where nothing keeps the computer awake, before any word', async () => {
    const run = started(refuses)
    expect(await run.exit()).toBe(1)
    expect(run.session.seen).toMatch(/going to sleep \(systemd-inhibit ended with 1: no login service here\)/)
    expect(run.session.seen).not.toContain('type the word')
    expect(run.file).toBeNull()
  })

  it('begins nothing where the hold on its sleep is lost while the cautions are read', async () => {
    const run = started(holdsUntil)
    const [, word = ''] = await run.session.shows(/confirm that all of it is so[^]*type the word: (\w+)/)
    const from = run.session.seen.length
    run.session.type(`${word}\r`)
    await run.session.shows(/type the word: \w+/, 20_000, from)
    await letsGo(run)
    await run.acknowledge(from)
    expect(await run.exit()).toBe(1)
    expect(run.session.seen).toMatch(/going to sleep \(systemd-inhibit ended with 3\)/)
    expect(run.file).toBeNull()
  })

  it('is run down where that hold is lost: nobody is there to see to it', async () => {
    const run = started(holdsUntil)
    await confirmed(run)
    await run.session.shows(/Step 1 of/, 40_000)
    await letsGo(run)
    expect(await run.exit()).toBe(7)
    expect(run.session.seen).toContain('nobody is there to see to it, so the run is run down')
    const { ending } = run.record()
    expect(ending).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
    expect(ending?.reason?.text).toBe('Run down, by the computer, which nothing keeps awake any more.')
  })

  it('is refused before any word where nothing can be seen to cut, whatever somebody would confirm', async () => {
    const run = started(grants, { dead_man: false })
    expect(await run.exit()).toBe(1)
    expect(run.session.seen).toMatch(/nothing that can be proved in this start switches high off/)
    expect(run.session.seen).not.toContain('type the word')
    expect(run.file).toBeNull()
  })

  it('sees the outside timer cut that it names, over real lines, and the volts come back by a hand alone', async () => {
    const run = started(grants, { dead_man: false, timer: true })
    await run.session.shows(/THE OUTSIDE TIMER of high/)
    await confirmed(run)
    await run.htAbove(30, 80_000)
    run.session.type('s')
    expect(await run.exit(60_000)).toBe(7)
    const { events, ending } = run.record()
    expect(ending).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
    const cut = events.find(({ text }) => text.includes('the outside timer cut'))?.data
    expect(cut).toMatchObject({ proof: 'outside timer', result: 'fired' })
    const texts = events.map(({ text }) => text)
    const [at, back, off] = ['the outside timer cut', 'are the volts back', 'HT: went off'].map((each) =>
      texts.findLastIndex((text) => text.includes(each)),
    )
    expect(at).toBeGreaterThan(0)
    expect(back).toBeGreaterThan(at ?? 0)
    expect(off).toBeGreaterThan(back ?? 0)
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
    replayAll(folder)
  })
})
