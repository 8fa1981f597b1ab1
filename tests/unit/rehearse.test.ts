import { mkdtempSync, readdirSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Command } from 'commander'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { registerRehearse } from '../../src/cli/commands/rehearse.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { openRunFile, storyOf } from '../../src/record/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'
import { rehearse, replayAll } from '../helpers/replayed.js'

const profilePath = 'profiles/small-receiver/receive.yaml'
const all = loadAll(profilePath)
if (all.value === null) throw new Error(JSON.stringify(all.problems))
const { profile, equipment, bench } = all.value
const { plan } = makePlan(profile, equipment, bench)
if (plan === null) throw new Error('the small receiver has no plan')

function entriesOf(seed: number): RunEntry[] {
  const entries: RunEntry[] = []
  if (plan !== null) rehearse(plan, equipment, bench, { seed, faults: [], record: (e) => entries.push(e) })
  return entries
}

describe('a rehearsal', () => {
  it('is the same to the last reading for the same seed, and another for another', () => {
    const text = (seed: number): string => JSON.stringify(entriesOf(seed))
    expect(text(5)).toBe(text(5))
    expect(text(5)).not.toBe(text(6))
  })

  it('tells only of streams that the plan knows, in order of time, and its ending once and last', () => {
    const entries = entriesOf(5)
    const known = new Set(streamsOf(plan).map(({ id }) => id))
    let last_us = 0
    for (const entry of entries) {
      if (entry.entry === 'reading') expect(known.has(entry.stream)).toBe(true)
      const t_us = entry.entry === 'event' ? entry.event.t_us : 't_us' in entry ? entry.t_us : last_us
      expect(t_us).toBeGreaterThanOrEqual(last_us)
      last_us = t_us
    }
    expect(entries.filter(({ entry }) => entry === 'ending')).toHaveLength(1)
    expect(entries.at(-1)?.entry).toBe('ending')
  })

  it('gives every tick of 50 ms to the sequencer, so that no rule sleeps', () => {
    let last: number | null = null
    for (const entry of entriesOf(5)) {
      if (entry.entry !== 'tick') continue
      if (last !== null) expect(entry.t_us - last).toBe(50_000)
      last = entry.t_us
    }
  })

  it('obeys a person who stops it: run down, outputs confirmed off', () => {
    const stopped = rehearse(plan, equipment, bench, {
      seed: 5,
      faults: [],
      record: () => undefined,
      watch: (seen) => (seen.elapsed_s > 60 ? 'stop' : undefined),
    })
    expect(stopped.ending.outcome).toBe('stopped')
    expect(stopped.ending.outputs_off).toBe('confirmed')
  })
})

describe('slowglow rehearse', () => {
  let folder = ''
  beforeEach(() => {
    folder = mkdtempSync(join(tmpdir(), 'rehearse-'))
  })
  afterEach(() => {
    replayAll(folder)
    rmSync(folder, { recursive: true })
    process.exitCode = 0
  })

  async function run(...args: string[]): Promise<{ out: string; err: string; exit: number }> {
    const said = { out: '', err: '' }
    const io = {
      out: (text: string) => (said.out += text),
      err: (text: string) => (said.err += text),
      isTerminal: false,
      colour: false,
      cwd: process.cwd(),
      env: {},
    }
    const program = new Command().exitOverride()
    registerRehearse(program, io)
    await program.parseAsync(['rehearse', ...args, '--out', folder], { from: 'user' })
    return { ...said, exit: Number(process.exitCode) }
  }

  it('shows the cautions, writes a run file that show can read, and says how it ended', async () => {
    const { out, err, exit } = await run(profilePath, '--json')
    expect(exit).toBe(0)
    expect(err).toMatch(/THIS RUN/)
    expect(err).not.toMatch(/safe to touch/i)
    const told: unknown = JSON.parse(out)
    expect(told).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed', reason: null })
    const [file] = readdirSync(folder)
    const opened = openRunFile(join(folder, file ?? ''))
    if ('trouble' in opened) throw new Error(opened.trouble)
    const story = storyOf(opened.reader)
    opened.reader.close()
    expect(story.outcome).toBe('completed')
    expect(story.steps_done).toBe(plan.steps.length)
  })

  it('exits 3 on a trip, 4 when outputs are not confirmed off, 5 when a port does not answer', async () => {
    const trip = await run(profilePath, '--fault', 'HT:lead-off')
    expect([1, 3, 7]).toContain(trip.exit)
    const supply = Object.keys(bench.supplies)[0] ?? ''
    expect((await run(profilePath, '--fault', `${supply}:trips@HT>60V`)).exit).toBe(3)
    expect((await run(profilePath, '--fault', `${supply}:ignores-off@HT>60V`)).exit).toBe(4)
    expect((await run(profilePath, '--fault', `line.${supply}:silent`)).exit).toBe(5)
  })

  it('names the command that finds the cause after a trip, where the set has a circuit, so that it can be typed', async () => {
    const supply = Object.keys(bench.supplies)[0] ?? ''
    const known = await run(
      'profiles/small-receiver/receive-network.yaml',
      ...['--fault', `${supply}:trips@HT>60V`],
    )
    expect(known.exit).toBe(3)
    const [file = ''] = readdirSync(folder)
    expect(known.out).toMatch(new RegExp(`Causes: slowglow diagnose .*${file}$`))
    expect((await run(profilePath, '--fault', `${supply}:trips@HT>60V`)).out).not.toContain('Causes:')
  })

  it('refuses a fault that fits nothing with exit 2, naming what there is, and writes no file', async () => {
    const { err, exit } = await run(profilePath, '--fault', 'C99:short')
    expect(exit).toBe(2)
    expect(err).toMatch(/There are/)
    await expect(run(profilePath, '--seed', 'many')).rejects.toMatchObject({
      code: 'commander.invalidArgument',
    })
    expect(readdirSync(folder)).toEqual([])
  })
})
