import { existsSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { writeBenchState } from '../../src/controller/index.js'
import { offAgain } from '../../src/service/off-again.js'
import { openBench, type Start, Stops } from '../../src/session/index.js'
import { liveSupply, tcpFarEnd } from '../helpers/live-supply.js'
import { demo } from '../helpers/small-set.js'

const ends: (() => unknown)[] = []
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end()
})

/** Heaters and bias from a supply with a line, HT from one with knobs alone; a run left its state, at twenty times life. */
async function leftWithHtOnKnob() {
  const { bench, equipment } = demo('tern-rock/receive')
  const { low } = bench.supplies
  if (low === undefined) throw new Error('the bench of the demo has no such supply')
  const far = await tcpFarEnd()
  ends.push(() => far.close())
  const line = { kind: 'tcp', host: '127.0.0.1', port: far.port, spare_allowed: true } as const
  const supply = liveSupply({ ...low, line }, far)
  ends.push(() => {
    supply.stop()
  })
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  ends.push(() => {
    rmSync(folder, { recursive: true, force: true })
  })
  const state_path = join(folder, 'state.json')
  writeBenchState(state_path, {
    format: 'slowglow bench state 1',
    bench: 'bench.yaml',
    bench_kind: 'virtual',
    run_file: 'one.slowglow',
    off_plan: null,
    supervisor: { pid: 0, started: '' },
    controller: null,
    places: { low: line },
    speed: 20,
    identities: {},
  })
  const prepared = {
    ...{ equipment, bench_path: 'bench.yaml', files: {}, faults: [] },
    // And nothing on a line that would show HT.
    bench: { ...bench, supplies: { low: { ...low, line } }, meters: {} },
  }
  const start = { prepared, plan: { bench_kind: 'virtual' }, state_path, faults: [] } as unknown as Start
  const heaters = Object.entries(supply.faces).find(([name]) => name !== 'bias')?.[1]
  if (heaters === undefined) throw new Error('no heaters')
  Object.assign(heaters, { on: true, set_V: 12.6 })
  return { start, state_path, heaters }
}

describe('a bench that was left, with HT on a knob that nobody said is off', () => {
  it('is told of in every start until a run has asked for that knob, and OFF sent again keeps its alarm', async () => {
    const { start, state_path, heaters } = await leftWithHtOnKnob()
    const told: string[] = []
    const stops = new Stops(() => undefined)
    const open = await openBench(start, stops, (text) => {
      told.push(text)
    })
    expect(open.kind).toBe('open')
    expect(heaters.on).toBe(false)
    expect(told).toContainEqual(
      expect.stringMatching(
        /^ALARM: HT: on your own knob, .*the bias goes off too, whether or not it is down/,
      ),
    )
    expect(told.at(-1)).toMatch(/^ALARM: HT \(your own knob\): NOT confirmed off by you/)
    expect(existsSync(state_path)).toBe(true)
    const again: string[] = []
    const { done, cleared } = await offAgain(start, null, (text) => {
      again.push(text)
    })
    expect(done).toBe('not confirmed')
    expect(cleared?.rails['bias']).toMatchObject({ confirmed: true })
    expect(again.at(-1)).toMatch(/^ALARM: HT \(your own knob\)/)
    expect(existsSync(state_path)).toBe(true)
  })
})
