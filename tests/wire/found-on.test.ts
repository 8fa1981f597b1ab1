import { writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { pathToFileURL } from 'node:url'
import { afterEach, describe, expect, it } from 'vitest'
import type * as Controller from '../../src/controller/index.js'
import { loadAll } from '../../src/files/index.js'
import { lineConfigsOf } from '../../src/line/index.js'
import { configAtSpeed, placesOf, planAtSpeed } from '../../src/session/index.js'
import { LiveRun } from '../helpers/live-run.js'
import { planned } from '../helpers/small-set.js'
import { BenchProgram } from '../helpers/virtual-bench.js'

const ends: (() => Promise<void> | void)[] = []
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end()
})

/** A bench on which somebody left heaters, bias and 300 V of HT on. */
async function leftOn(...args: string[]): Promise<BenchProgram> {
  const bench = await BenchProgram.start(...args)
  ends.push(() => bench.end())
  const say = (port: string, text: string): void => {
    writeFileSync(bench.paths[port] ?? '', text)
  }
  const low = [':VOLT 12.6', ':CURR 8', ':OUTP ON'].map((words) => `:INST:NSEL 1;${words}\n`).join('')
  const bias = [':VOLT 60', ':CURR 0.1', ':OUTP ON'].map((words) => `:INST:NSEL 2;${words}\n`).join('')
  say('low', `\n${low}${bias}`)
  say('high', '\n:VOLT 300\n:CURR 0.3\n:OUTP ON\n')
  await sleep(3000)
  expect(await bench.outputs()).toEqual({ 'high.out': true, 'low.heaters': true, 'low.bias': true })
  return bench
}

describe('outputs found on at the start of a run', () => {
  it('go off in order over all ports: HT before heaters and bias, all confirmed, and no run follows', async () => {
    const bench = await leftOn()
    const run = new LiveRun([bench.profile_file])
    ends.push(() => run.end())
    await run.acknowledge()
    let bias_first = false
    const watching = setInterval(() => {
      void bench.outputs().then((on) => {
        bias_first ||= on['high.out'] === true && on['low.bias'] === false
      })
    }, 100)
    const code = await run.exit(60_000)
    clearInterval(watching)
    expect(bias_first).toBe(false)
    expect(code).toBe(8)
    expect(run.session.seen).toContain('found on before this run switched anything')
    expect(run.record().ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
  })
  it('are put off by the supervisor where the controller is lost before the start was acknowledged to it', async () => {
    const speed = 10
    const bench = await leftOn('--speed', String(speed))
    const parts = loadAll(bench.profile_file).value
    if (parts === null) throw new Error('the short profile does not load')
    const plan = planAtSpeed(planned(parts), speed)
    const run_file = join(bench.folder, 'found-on.slowglow')
    // The processes that it starts are those of the build.
    const built = pathToFileURL(resolve('dist/controller/index.js')).href
    const { supervise } = (await import(built)) as typeof Controller
    const supervisor = await supervise({
      plan,
      run_file,
      speed,
      configs: lineConfigsOf(parts.bench).map((config) => configAtSpeed(config, speed)),
      places: placesOf(parts.bench, {}),
      known: {
        run: 'found-on',
        started: new Date().toISOString(),
        version: '0',
        command: 'run',
        plan,
        files: {},
        identities: {},
        seed: null,
        faults: [],
      },
    })
    if ('trouble' in supervisor) throw new Error(supervisor.trouble)
    await new Promise<void>((settle) => {
      supervisor.told.subscribe((entry) => {
        if (entry.entry === 'event' && entry.event.what === 'trip') settle()
      })
    })
    process.kill(supervisor.controller_pid ?? 0, 'SIGKILL')
    expect(await supervisor.finished).toMatchObject({
      kind: 'ended',
      ending: { outcome: 'failed', outputs_off: 'confirmed', reason: { code: 'controller-lost' } },
    })
    expect(await bench.outputs()).toEqual({ 'high.out': false, 'low.heaters': false, 'low.bias': false })
  })
})
