import { execFileSync } from 'node:child_process'
import { closeSync, constants, mkdtempSync, openSync, rmSync, writeSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { dirname, join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { afterEach, describe, expect, it } from 'vitest'
import { runNameOf } from '../../src/record/index.js'
import { LiveRun, shortProfile } from '../helpers/live-run.js'
import { gone, plain } from '../helpers/terminal.js'

const fast = ['--speed', '20']
let run: LiveRun | null = null
afterEach(async () => {
  await run?.end()
  run = null
})
async function begun(...args: string[]): Promise<LiveRun> {
  run = new LiveRun(args)
  await run.acknowledge()
  return run
}

describe('slowglow run over a real terminal line', () => {
  it('brings the demo receiver up to its working HT, puts everything off and keeps the record', async () => {
    const live = await begun('profiles/tern-rock/receive.yaml', ...fast)
    const code = await live.exit(100_000)
    expect([0, 1]).toContain(code)
    const { seen } = live.session
    expect(seen).toContain('Completed, within limits')
    expect(seen).toContain('Outputs confirmed off, measured at the supplies')
    expect(seen).toMatch(/reservoir: .*V by reservoir meter/)
    expect(seen).toContain('measure before touching')
    // All of it is in its own file, and nobody is told otherwise.
    expect(seen).not.toContain('is kept in')
    const { ending, events, readings, known } = live.record()
    expect(ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
    expect(known?.run).toBe(runNameOf(live.file ?? ''))
    // Which supplies answered, and what was known of them, is in the file.
    expect(Object.keys(known?.identities ?? {})).not.toEqual([])
    expect(Object.values(known?.identities ?? {}).every((identity) => identity !== '')).toBe(true)
    expect(known?.plan.supplies?.length).toBeGreaterThan(0)
    expect(readings).toBeGreaterThan(1000)
    expect(events.some(({ what }) => what === 'intent')).toBe(true)
  })

  it('trips when a capacitor shorts at 60 % of the ramp: rail, step, measured, limit and why, and everything off in order', async () => {
    const live = await begun(shortProfile, ...fast, '--fault', 'C1b:short@HT>90V')
    expect(await live.exit()).toBe(3)
    const { ending, events } = live.record()
    expect(ending).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed' })
    expect(ending?.reason).toMatchObject({ rail: 'HT' })
    expect(ending?.reason?.step).not.toBeNull()
    expect(ending?.reason?.measured).not.toBeNull()
    expect(ending?.reason?.limit).not.toBeNull()
    expect(live.session.seen).toContain('TRIPPED')
    const offs = events.filter(({ what }) => what === 'off').map(({ text }) => text)
    const at = (word: string): number => offs.findIndex((text) => text.includes(word))
    expect(at('HT')).toBeGreaterThanOrEqual(0)
    expect(at('bias')).toBeGreaterThan(at('HT'))
  })

  it('is stopped below 5 V by the hook-up check when leads are swapped', async () => {
    const live = await begun(shortProfile, ...fast, '--fault', 'heaters:swapped=bias')
    const code = await live.exit()
    expect([3, 7]).toContain(code)
    const { ending, events } = live.record()
    expect(ending?.outputs_off).toBe('confirmed')
    expect(ending?.reason?.code).toBe('hook-up')
    expect(events.some(({ what, text }) => what === 'intent' && /1\d\d V/.test(text))).toBe(false)
  })

  it('ends with 4, keeps the bias on and alarms when HT ignores OFF', async () => {
    const live = await begun(shortProfile, ...fast, '--fault', 'HT:ignores-off@HT>70V')
    await live.htAbove(80)
    live.session.type('s')
    expect(await live.exit()).toBe(4)
    const { seen } = live.session
    expect(seen).toContain('ALARM')
    expect(seen).toContain('OUTPUTS NOT CONFIRMED OFF')
    const { ending, events } = live.record()
    expect(ending?.outputs_off).toBe('not confirmed')
    expect(events.some(({ what }) => what === 'alarm')).toBe(true)
    expect(ending?.details['bias_released_by']).toBeNull()
  })
})

describe('stops', () => {
  it('runs down at the first Ctrl-C: lowered, then off, exit 7', async () => {
    const live = await begun(shortProfile, ...fast)
    await live.htAbove(30)
    live.session.type('\u0003')
    expect(await live.exit()).toBe(7)
    expect(live.record().ending).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
  })

  it('puts outputs off now at the second Ctrl-C', async () => {
    const live = await begun(shortProfile, ...fast)
    await live.htAbove(100)
    live.session.type('\u0003\u0003')
    expect(await live.exit()).toBe(7)
    const { ending, events } = live.record()
    expect(ending?.outputs_off).toBe('confirmed')
    expect(events.some(({ what, data }) => what === 'fed' && data['how'] === 'off now')).toBe(true)
  })

  it.each([
    ['Ctrl-C', '\u0003'],
    ['s', 's'],
    ['Ctrl-C twice', '\u0003\u0003'],
  ])('begin nothing where %s comes right after the word', async (_, keys) => {
    run = new LiveRun([shortProfile, ...fast])
    const [, word = ''] = await run.session.shows(/type the word: (\w+)/)
    run.session.type(`${word}\r${keys}`)
    expect(await run.exit()).toBe(7)
    expect(run.session.seen).not.toContain('output on')
    const { file } = run
    if (file !== null) expect(run.record().events.some(({ what }) => what === 'begin')).toBe(false)
  })

  it('begin nothing where the terminal is closed right after the word', async () => {
    run = new LiveRun([shortProfile, ...fast])
    const [, word = ''] = await run.session.shows(/type the word: (\w+)/)
    const supervisor = run.session.leader
    run.session.type(`${word}\r`)
    await sleep(30)
    run.session.hangUp()
    await gone(supervisor)
    const { file } = run
    if (file !== null)
      expect(run.record().ending).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
  })

  it('takes Ctrl-Z for a stop instead of stopping the supervising process with the rails on', async () => {
    const live = await begun(shortProfile, ...fast)
    await live.htAbove(30)
    live.session.type('\u001a')
    expect(await live.exit()).toBe(7)
    expect(live.session.seen).toContain('Ctrl-Z')
  })

  it('takes SIGTSTP from outside for a stop as well', async () => {
    const live = await begun(shortProfile, ...fast)
    await live.htAbove(30)
    process.kill(live.session.leader, 'SIGTSTP')
    expect(await live.exit()).toBe(7)
  })

  it('takes a closed terminal for a stop, and still keeps the record', async () => {
    const live = await begun(shortProfile, ...fast)
    await live.htAbove(30)
    const supervisor = live.session.leader
    live.session.hangUp()
    await gone(supervisor)
    const { ending } = live.record()
    expect(ending).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
    expect(ending?.reason?.text).toContain('closed terminal')
  })

  it('does not wait for the disk of its log: a full pipe that nobody reads stops nothing', async () => {
    const path = join(mkdtempSync(join(tmpdir(), 'slowglow-log-')), 'log')
    execFileSync('mkfifo', [path])
    const pipe = openSync(path, constants.O_RDWR | constants.O_NONBLOCK)
    for (let full = false; !full; ) {
      try {
        writeSync(pipe, 'x'.repeat(4096))
      } catch {
        full = true
      }
    }
    const live = await begun(shortProfile, ...fast, '--log', path)
    await live.htAbove(30)
    live.session.type('s')
    await live.session.shows('Outputs confirmed off')
    closeSync(pipe)
    expect(await live.exit()).toBe(7)
    expect(live.record().ending?.reason?.code).toBe('operator')
    rmSync(dirname(path), { recursive: true })
  })

  it('goes on judging while the terminal is paused by Ctrl-S, and shows the end when it is let go', async () => {
    const live = await begun(shortProfile, ...fast)
    await live.htAbove(30)
    live.session.flowControl()
    live.session.type('\u0013')
    const paused = live.session.seen.length
    await new Promise((resolve) => setTimeout(resolve, 3000))
    expect(live.session.seen.length - paused).toBeLessThan(5000)
    live.session.type('\u0011')
    expect([0, 1]).toContain(await live.exit())
    const { ending, events } = live.record()
    expect(ending?.outcome).toBe('completed')
    expect(events.some(({ what, text }) => what === 'fed' && text === 'parent lost')).toBe(false)
  })
})

describe('before anything is energised', () => {
  it('says with 6 that the folder of the record cannot be made, and energises nothing', async () => {
    run = new LiveRun([shortProfile, ...fast, '--runs', 'package.json/runs'])
    await run.acknowledge()
    expect(await run.exit()).toBe(6)
    expect(run.session.seen).toContain('Choose a folder that you can write to')
    expect(run.session.seen).not.toContain('output on')
  })

  it('says with 2 that the log cannot be written', async () => {
    run = new LiveRun([shortProfile, ...fast, '--log', 'package.json/log'])
    expect(await run.exit()).toBe(2)
    expect(run.session.seen).toContain('The log cannot be written')
  })

  it('refuses to run without a terminal: 2, with a sentence', async () => {
    const { code, err } = await plain(['run', shortProfile, ...fast])
    expect(code).toBe(2)
    expect(err).toContain('acknowledged on a terminal')
  })

  it('asks again when another word is typed, and gives up with nothing energised at Ctrl-C', async () => {
    run = new LiveRun([shortProfile, ...fast])
    await run.session.shows(/type the word: \w+/)
    run.session.type('yes\r')
    await run.session.shows('is not the word')
    run.session.type('\u0003')
    expect(await run.exit()).toBe(7)
    expect(run.file).toBeNull()
  })
})
