import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import {
  type BenchState,
  benchStatePath,
  leaveBenchState,
  leftBehind,
  processStart,
  readBenchState,
  removeBenchState,
  runsUnderWay,
  stillRuns,
  writeBenchState,
} from '../../src/controller/index.js'
import { endedOf, endedWords } from '../../src/service/ended.js'
import { type Left, leftElsewhere, leftWords } from '../../src/service/left.js'
import { endedSince, refusedSince } from '../../src/service/off-again.js'
import type { Cleared } from '../../src/session/index.js'
import type { RunEnding } from '../../src/story/index.js'

const runtime = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
const env = { XDG_STATE_HOME: runtime }
const path = join(runtime, 'slowglow', 'a.json')
mkdirSync(join(runtime, 'slowglow'))
afterAll(() => {
  rmSync(runtime, { recursive: true, force: true })
})

const me = { pid: process.pid, started: processStart(process.pid) ?? '' }
const state: BenchState = {
  format: 'slowglow bench state 1',
  bench: '/b/bench.yaml',
  bench_kind: 'real',
  run_file: '/b/one.slowglow',
  off_plan: null,
  supervisor: me,
  controller: me,
  places: {},
  speed: 1,
  identities: { high: 'ONE' },
}

describe('a bench that a run left with its alarm', () => {
  it('is under way no more, though the service that supervised it lives', () => {
    writeBenchState(path, state)
    expect([...runsUnderWay(env).keys()]).toEqual([state.run_file])
    expect(leftBehind(env)).toEqual([])
    leaveBenchState(path)
    expect([...runsUnderWay(env)]).toEqual([])
    const [left] = leftBehind(env)
    expect(left).toMatchObject({ path, state: { identities: state.identities, run_file: state.run_file } })
    const kept = readBenchState(path)
    if (kept === null || kept === 'unreadable') throw new Error('it is not there')
    expect(stillRuns(kept.supervisor)).toBe(false)
    // One that hangs in the system still has to be ended by whoever comes next.
    expect(kept.controller).toEqual(me)
    expect(leftWords(env, null)).toMatchObject([
      {
        kind: 'alarm',
        text: expect.stringMatching(/ended with outputs that were not confirmed off/) as string,
      },
    ])
    expect(leftWords(env, path)).toEqual([])
  })

  it('is found after the computer lost its power, though a process of then and one of now share their number', () => {
    const home = join(runtime, 'home')
    const bench = join(runtime, 'bench.yaml')
    writeFileSync(bench, '')
    const at = benchStatePath(bench, { HOME: home })
    expect(at.startsWith(join(home, '.local', 'state', 'slowglow'))).toBe(true)
    const [, since] = me.started.split(' ')
    const before = { pid: process.pid, started: `0e6e7c2a-0000-4000-8000-000000000000 ${since}` }
    writeBenchState(at, { ...state, supervisor: before, controller: before })
    expect(leftBehind({ HOME: home })).toMatchObject([{ path: at, state: { run_file: state.run_file } }])
    expect([...runsUnderWay({ HOME: home })]).toEqual([])
  })

  it('keeps its alarm and its OFF AGAIN: nothing begins on another before somebody has seen to it', () => {
    const prepared = { bench_path: '/b/bench.yaml' } as Left['prepared']
    const left: Left = { prepared, state_path: path }
    writeBenchState(path, state)
    leaveBenchState(path)
    const other = join(runtime, 'slowglow', 'b.json')
    expect(leftElsewhere(left, other)).toMatchObject({ status: 409, code: 'outputs not confirmed off' })
    expect(leftElsewhere(left, path)).toBeNull()
    expect(leftElsewhere(null, other)).toBeNull()
    // Another process has made it safe and runs there, or safe-off has confirmed it.
    writeBenchState(path, { ...state, supervisor: { pid: 1, started: processStart(1) ?? '' } })
    expect(leftElsewhere(left, other)).toBeNull()
    removeBenchState(path)
    expect(leftElsewhere(left, other)).toBeNull()
  })
})

const ending = (hand_rails: RunEnding['hand_rails'], outputs_off: RunEnding['outputs_off']): RunEnding => ({
  outcome: 'stopped',
  reason: null,
  outputs_off,
  stored_charge: {},
  hand_rails,
  warnings: [],
  steps_done: 1,
  duration_s: 9,
  details: { off: { bias: { confirmed: false, how: 'not told OFF' } } },
})
const cleared: Cleared = {
  kind: 'cleared',
  rails: { bias: { confirmed: true, volts: 0, how: 'read back as off' } },
  hand_rails: { HT: 'not confirmed by you' },
}

describe('OFF sent again', () => {
  it('takes no alarm back while HT on a knob is not confirmed off by anybody, and shows what was measured', () => {
    const ended = endedOf(ending({ HT: 'not confirmed by you' }, 'not confirmed'), {}, 'run')
    const since = endedSince(ended, { done: 'not confirmed', cleared })
    expect(since).toMatchObject({ alarm: true, rails: ['bias: read back as off'] })
    expect(since?.outputs).toMatch(/measured at the supplies, and what stands on your own knob was not/)
    expect(since?.open_hand_rails).toEqual(ended.open_hand_rails)
    const code = 'outputs not confirmed off' as const
    const refused = { code, what: 'x', remedy: null, where: null, problems: [] }
    const still = refusedSince(refused, { done: 'not confirmed', cleared })
    expect(still).toMatchObject({ code: 'outputs not confirmed off' })
    expect(still?.what).toContain('HT (your own knob): NOT confirmed off by you')
  })

  it('takes it back, rails and all, where a person said in the run that the knob is down', () => {
    const ended = endedOf(ending({ HT: 0 }, 'not confirmed'), {}, 'run')
    expect(ended.rails).toContain('bias: not told OFF  NOT CONFIRMED')
    const since = endedSince(ended, { done: 'confirmed', cleared })
    expect(since).toMatchObject({ alarm: false, open_hand_rails: [] })
    expect(since?.rails).toEqual(['bias: read back as off', 'HT (your own knob): 0 V, typed by you'])
    expect(endedSince(ended, { done: 'not confirmed', cleared: null })).toBe(ended)
  })

  it('leaves nothing of a virtual bench that is gone with its run', () => {
    const ended = endedOf(ending({}, 'not confirmed'), {}, 'run')
    const since = endedSince(ended, { done: 'nothing to confirm', cleared: null })
    expect(since).toMatchObject({ alarm: false, rails: [] })
    expect(since?.outputs).toContain('nothing real is on')
  })
})

describe('the end of a run on the terminal of the service', () => {
  it('says first what only a person can put off', () => {
    const ended = endedOf(ending({ HT: 'not confirmed by you' }, 'confirmed'), {}, 'run')
    expect(ended.alarm).toBe(false)
    expect(endedWords(ended)).toMatch(/^HT \(your own knob\): NOT confirmed off by you/)
  })
})
