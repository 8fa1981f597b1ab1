import { cpSync, mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Command } from 'commander'
import { afterAll, describe, expect, it } from 'vitest'
import { registerRun } from '../../src/cli/commands/run.js'
import { exits } from '../../src/cli/exits.js'
import { prepared } from '../../src/cli/live/prepare.js'
import type { Plan, ReformJudgement } from '../../src/plan/index.js'
import { createRunFile, runFileName, runNameOf, type RunWriter } from '../../src/record/index.js'
import type { RunEntry } from '../../src/story/index.js'

/* `slowglow run PROFILE --continue --from RUN`, as it is typed: everything up to where a terminal would be needed. */

const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
cpSync('profiles/tern-rock', folder, { recursive: true })
writeFileSync(
  join(folder, 'short.yaml'),
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
const runs = join(folder, 'runs')
mkdirSync(runs)
const env = { XDG_STATE_HOME: folder, XDG_DATA_HOME: join(folder, 'data') }
const made = prepared('run', 'short.yaml', { fault: [], speed: 1 }, { cwd: folder, env })
if ('exit' in made) throw new Error(made.what)
const { plan } = made
const rungs = plan.steps.filter(({ reform }) => reform?.what === 'rung')

const writers: RunWriter[] = []
afterAll(() => {
  for (const writer of writers) writer.close()
  rmSync(folder, { recursive: true })
})

const told = (part: string, rung: number, more: Partial<ReformJudgement> = {}): RunEntry => {
  const step = rungs[rung]?.index ?? 0
  const figures = {
    ...{ volts: 15, leak_A: 1e-4, held_s: 60, F: 8e-6, F_error: 1e-7, limit_A: 6e-4, resolves_A: 1e-5 },
    ...{ slope: null, soonest_s: null, latest_s: null },
  }
  const said = { part, step, act: 'go on', reach_V: 20, verdict: null, code: null, text: 'go on' } as const
  const data = { reform: { ...said, figures, ...more } }
  const from = { t_us: 60e6, from: 'controller', what: 'judgement', text: '', rail: 'HT' } as const
  return { entry: 'event', event: { ...from, step, intent: null, data, durable: true } }
}

/** A run file that nobody closed, of so many days ago. */
function left(days_ago: number, entries: readonly RunEntry[], change: Partial<Plan> = {}, rehearsed = false) {
  const at = new Date(Date.now() - 86_400_000 * days_ago)
  const file = join(runs, runFileName(at, plan.equipment, days_ago / 100))
  const run = runNameOf(file)
  const more = { version: '0', files: {}, identities: {}, seed: null, faults: [] }
  const command = rehearsed ? ('rehearse' as const) : ('run' as const)
  const known = { run, started: at.toISOString(), command, plan: { ...plan, ...change }, ...more }
  const writer = createRunFile(file, { fsync: false })
  writers.push(writer)
  writer.append([{ entry: 'known', known }, ...entries])
  writer.flush()
  return run
}

async function typed(...args: string[]) {
  const err: string[] = []
  const io = {
    ...{ out: (text: string) => err.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd: folder, env },
  }
  const program = new Command()
  registerRun(program, io)
  await program.parseAsync(['run', 'short.yaml', ...args], { from: 'user' })
  const code = process.exitCode
  process.exitCode = undefined
  return { said: err.join('\n'), code }
}
const volts = (rung: number): string => `${rungs[rung]?.target_V ?? 0} V`

describe('a run that is taken up by its name', () => {
  const old = left(40, [told('C3', 8), told('C5', 8)])
  const night = left(3, [told('C3', 5), told('C5', 4)])
  const given = { act: 'give up', verdict: 'replace', code: 'rising' } as const
  left(2, [told('C3', 6), told('C5', 6, given)])
  const rehearsed = left(1, [told('C3', 7), told('C5', 7)], {}, true)
  const other = left(0.5, [told('C3', 7), told('C5', 7)], { equipment: 'another set' })

  it('is that one and not the last, with what was held in it, and begins nothing without a terminal', async () => {
    const last = await typed('--continue')
    expect(last.code).toBe(exits.finding)
    expect(last.said).toMatch(/C5 was given up in/)
    const { said, code } = await typed('--continue', '--from', night)
    expect(said).toContain(`The run of this profile (${night}) did not come to its end`)
    expect(said).toContain(`C3 was held to its end at ${volts(5)}; C5 was held to its end at ${volts(4)}`)
    expect(said).toMatch(/taken up there, after a fresh check at the lowest step/)
    expect([code, /Run it from a terminal/.test(said)]).toEqual([exits.usage, true])
  })

  it.each([
    [
      'alone: nothing is taken up unasked',
      ['--from', night],
      exits.usage,
      /without the other begins from below/,
    ],
    [
      'of no run',
      ['--continue', '--from', 'nobody'],
      exits.usage,
      /nobody[^]*Name another run, or leave --from out/,
    ],
    [
      'of a rehearsal',
      ['--continue', '--from', rehearsed],
      exits.usage,
      /was no run: its parts were not formed/,
    ],
    ['of another set', ['--continue', '--from', other], exits.usage, /is a run of another set, not of/],
    [
      'of months ago',
      ['--continue', '--from', old],
      exits.finding,
      /40 days old, and what was formed then has gone back/,
    ],
  ])('%s is refused', async (_, args, exit, wanted) => {
    const { said, code } = await typed(...args)
    expect(said).toMatch(wanted)
    expect(said).not.toMatch(/Run it from a terminal/)
    expect(code).toBe(exit)
  })
})
