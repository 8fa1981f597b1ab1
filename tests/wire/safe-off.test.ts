import { spawn } from 'node:child_process'
import { readFileSync, writeFileSync } from 'node:fs'
import { setTimeout as sleep } from 'node:timers/promises'
import { afterEach, describe, expect, it } from 'vitest'
import { placesOf } from '../../src/session/index.js'
import { benchStatePath, offAtOnce } from '../../src/controller/index.js'
import { loadBench } from '../../src/files/index.js'
import { offPlanOf } from '../../src/plan/index.js'
import { LiveRun, shortProfile } from '../helpers/live-run.js'
import { gone, plain } from '../helpers/terminal.js'
import { BenchProgram } from '../helpers/virtual-bench.js'

const ends: (() => Promise<void> | void)[] = []
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end()
})

/** A busy machine takes its time to hear what was written. */
async function until(bench: BenchProgram, outputs: Readonly<Record<string, boolean>>): Promise<void> {
  for (let spent = 0; spent < 5000; spent += 100) {
    const found = await bench.outputs()
    if (Object.entries(outputs).every(([output, on]) => found[output] === on)) return
    await sleep(100)
  }
  expect(await bench.outputs()).toMatchObject(outputs)
}

async function benchWithHtOn(): Promise<BenchProgram> {
  const bench = await BenchProgram.start('--speed', '20')
  ends.push(() => bench.end())
  const say = (port: string, text: string): void => {
    writeFileSync(bench.paths[port] ?? '', text)
  }
  say('low', '\n:INST:NSEL 1;:VOLT 12.6\n:INST:NSEL 1;:CURR 8\n:INST:NSEL 1;:OUTP ON\n')
  say('high', '\n:VOLT 150\n:CURR 0.1\n:OUTP ON\n')
  await until(bench, { 'high.out': true, 'low.heaters': true })
  return bench
}

describe('the OFF of a program that may no longer decide', () => {
  it('takes HT off at once on every port from the plan alone, and leaves heaters and bias', async () => {
    const bench = await benchWithHtOn()
    const loaded = loadBench(bench.bench_file).value
    if (loaded === null) throw new Error('the bench file of the demo is not read')
    offAtOnce(offPlanOf(loaded), placesOf(loaded, {}))
    await until(bench, { 'high.out': false })
    expect(await bench.outputs()).toMatchObject({ 'low.heaters': true })
  })
})

describe('slowglow safe-off', () => {
  it('puts everything off and confirms it while another program holds the ports', async () => {
    const bench = await benchWithHtOn()
    for (const path of [bench.paths['high'] ?? '', bench.paths['low'] ?? '']) {
      const holder = spawn('flock', [path, 'sleep', '100'], { detached: true })
      ends.push(() => {
        if (holder.pid !== undefined) process.kill(-holder.pid, 'SIGKILL')
      })
    }
    await sleep(200)
    const { code, out, err } = await plain(['safe-off', '--bench', bench.bench_file])
    expect(`${out}${err}`).toContain('Outputs confirmed off')
    expect(code).toBe(0)
    expect(out).toContain('take it as charged')
    expect(out.toLowerCase()).not.toContain('safe to touch')
    expect(Object.values(await bench.outputs())).toEqual([false, false, false])
  })

  it('says so, and exits 4, when no port can be reached: a silent port says nothing of its outputs', async () => {
    const bench = await BenchProgram.start()
    await bench.outputs()
    const file = bench.bench_file.replace('bench.yaml', 'gone.yaml')
    writeFileSync(
      file,
      readFileSync(bench.bench_file, 'utf8').replaceAll('/tmp/slowglow-lines', '/tmp/no-such-lines'),
    )
    ends.push(() => bench.end())
    const { code, out } = await plain(['safe-off', '--bench', file, '--json'])
    expect(code).toBe(4)
    expect(JSON.parse(out)).toMatchObject({ outputs_off: 'not confirmed' })
  })

  // At twenty times a busy machine holds readings up for as long as a debounce lasts.
  it('tells a run that is under way to put its outputs off now', async () => {
    const run = new LiveRun([shortProfile, '--speed', '5'])
    ends.push(() => run.end())
    await run.acknowledge()
    await run.htAbove(30, 120_000)
    const { code, err } = await plain(['safe-off', '--bench', 'profiles/tern-rock/bench.yaml'], {
      XDG_STATE_HOME: run.folder,
    })
    expect(err).toContain('A run is under way on this bench')
    expect(code).toBe(0)
    const exit = await run.exit()
    expect(run.record().ending).toMatchObject({
      outcome: 'stopped',
      outputs_off: 'confirmed',
      reason: { code: 'operator' },
    })
    expect(exit).toBe(7)
  })
})

describe('the next start', () => {
  it('ends an orphan controller, reads back what is on, makes it safe and reports it before anything else', async () => {
    const first = new LiveRun([shortProfile, '--speed', '20'])
    ends.push(() => first.end())
    await first.acknowledge()
    await first.htAbove(30)
    const { controller } = first
    process.kill(controller, 'SIGSTOP')
    process.kill(first.session.leader, 'SIGKILL')
    const next = new LiveRun([shortProfile, '--speed', '20'], first.folder)
    ends.push(() => next.end())
    await next.session.shows('did not end well', 30_000)
    await next.session.shows(/type the word: \w+/, 60_000)
    await gone(controller)
    const { seen } = next.session
    expect(seen).toContain(`process ${controller}`)
    expect(seen).toMatch(/Found on: .*high\.out/)
    expect(seen).toContain('Outputs confirmed off')
    expect(seen).toContain('take it as charged')
    next.session.type('\u0003')
    expect(await next.exit()).toBe(7)
  })

  it('takes a state file that cannot be read for an earlier run that left something on', async () => {
    const bench = await benchWithHtOn()
    const next = new LiveRun([bench.profile_file])
    ends.push(() => next.end())
    writeFileSync(benchStatePath(bench.bench_file, { XDG_STATE_HOME: next.folder }), '{"format":"slowg')
    await next.session.shows('its state, but it cannot be read', 60_000)
    await next.session.shows(/type the word: \w+/, 60_000)
    expect(next.session.seen).toMatch(/Found on: .*high\.out/)
    expect(Object.values(await bench.outputs())).toEqual([false, false, false])
    next.session.type('\u0003')
    expect(await next.exit()).toBe(7)
    expect(next.session.seen).toContain('no run begins')
  })

  it('refuses while another run is under way on the same bench', async () => {
    // Slower than the next begins on a busy machine: that one is to find it under way.
    const first = new LiveRun([shortProfile, '--speed', '8'])
    ends.push(() => first.end())
    await first.acknowledge()
    await first.htAbove(5)
    const next = new LiveRun([shortProfile, '--speed', '20'], first.folder)
    ends.push(() => next.end())
    expect(await next.exit()).toBe(5)
    expect(next.session.seen).toContain('Another run is under way')
  })
})

describe('slowglow supplies', () => {
  it('tells identity, settings and state of every supply and changes nothing', async () => {
    const bench = await benchWithHtOn()
    const { code, out } = await plain(['supplies', '--bench', bench.bench_file, '--json'])
    expect(code).toBe(0)
    expect(JSON.parse(out)).toMatchObject({
      supplies: { high: { trouble: null, channels: { out: { output: 'on', set_V: 150, limit_A: 0.1 } } } },
    })
    expect(await bench.outputs()).toMatchObject({ 'high.out': true, 'low.heaters': true })
  })
})
