import { copyFileSync, mkdirSync, readdirSync, writeFileSync } from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { Command } from 'commander'
import { beforeEach, describe, expect, it } from 'vitest'
import { registerCompare } from '../../src/cli/commands/compare.js'
import { registerRuns } from '../../src/cli/commands/runs.js'
import { registerShow } from '../../src/cli/commands/show.js'
import { type BenchState, benchStatePath, processStart, writeBenchState } from '../../src/controller/index.js'
import {
  createRunFile,
  type RunEnding,
  type RunEntry,
  type RunLine,
  type Story,
  whereIsRun,
} from '../../src/record/index.js'
import { event, folder, known, smallRun } from '../helpers/runs.js'

let cwd = ''
beforeEach(() => {
  cwd = folder()
})
function put(name: string, entries: readonly RunEntry[]): string {
  const path = join(cwd, 'runs', `${name}.slowglow`)
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  return path
}
function slowglow(...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []]
  const io = {
    ...{ out: (text: string) => out.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd, env: { XDG_STATE_HOME: cwd } },
  }
  const program = new Command()
  registerShow(program, io)
  registerRuns(program, io)
  registerCompare(program, io)
  program.parse(args, { from: 'user' })
  const code = process.exitCode
  process.exitCode = undefined
  return { out: out.join('\n'), err: err.join('\n'), code }
}

describe('slowglow show', () => {
  it('tells a tripped run on a page: reason, limit and why, each rail off, stored charge, steps', () => {
    put('a', smallRun())
    const { out, err, code } = slowglow('show', 'a')
    expect(code).toBe(0)
    expect(err).toBe('')
    expect(out).toContain('Tripped in step 2 (HT): HT current 41 mA was over its trip of 30 mA for 0.3 s')
    expect(out).toContain(
      '  as planned for step 2, HT at 120 V:\n    trip 30 mA: upper end of the band and a quarter more [common practice, no source]',
    )
    expect(out).not.toContain('trip 30 mA: trip')
    expect(out).toContain('Outputs confirmed off, measured at the supplies.\n  HT: OFF read back')
    expect(out).toContain('Bias released by: every plate and screen node below 60 V')
    expect(out).toMatch(
      /stored charge \(measure before touching\)\n {2}b1: 3.2 V by meter 1, read 0.4 s before the end\n {2}b2: not measured: take it as charged/,
    )
    expect(out).toMatch(/1 +HT, receive +HT +60 V +10.1 mA +10 mA \(8 mA to 12 mA\) +in band/)
    expect(out).toMatch(/2 +HT, receive +HT +80 V +41 mA +20 mA \(16 mA to 24 mA\) +above trip/)
    expect(out).not.toContain('What happened, by time')
    expect(out).toMatch(/^Causes: slowglow diagnose a$/m)
    const noted = slowglow('show', 'a', '--note', 'C3 was hot.', '--by', 'Ada').out
    expect(noted).toMatch(/Note, .* UTC, Ada \(a terminal of the bench machine\): C3 was hot\./)
    expect(slowglow('show', 'a', '--events').out).toMatch(
      /What happened, by time\n.*\n.*begin +cautions acknowledged/,
    )
    expect(out).toContain('Warning: HT current was near its upper band in step 1')
    expect(out).toContain('Not proved: receive sensitivity')
    expect(out).toContain('Faults put in: C12:short@HT>100V')
  })

  it('has tables that a terminal has room for: no reasons in them, and a rail that nobody can read is told once', () => {
    const steps = known.plan.steps.map((step) => ({
      ...step,
      stage: 'HT (filled in: a low start (common practice, no source))',
      limits: { ...step.limits, heaters: step.limits['HT']! },
    }))
    const [first, ...rest] = smallRun()
    if (first?.entry !== 'known') throw new Error('no plan')
    put('a', [{ entry: 'known', known: { ...known, plan: { ...known.plan, steps } } }, ...rest])
    for (const { out } of [slowglow('show', 'a'), slowglow('compare', 'a', 'a')]) {
      expect(out).not.toContain('filled in')
      expect(out).toMatch(/HT, receive/)
      expect(out.match(/heaters/g)).toHaveLength(1)
      expect(out).toMatch(/heaters: its current was measured in no step/)
    }
  })

  it('names a run alike whatever its record says: older ones of live runs have the file’s extension in it', () => {
    const run = smallRun().map(
      (entry): RunEntry =>
        entry.entry === 'known'
          ? { ...entry, known: { ...entry.known, run: `${known.run}.slowglow`, command: 'qualify' } }
          : entry,
    )
    put('a', run)
    expect(slowglow('show', 'a').out).toContain(`Run ${known.run}\n`)
    expect(slowglow('show', 'a').out).toContain(': qualification on ')
    expect(slowglow('runs').out).toContain(`  ${known.run}  `)
  })

  it('says of a run faster than life in whose time its lines are told', () => {
    const health = { faults: {}, discarded_bytes: 0, replies: 9, worst_reply_s: 0.2, polled_Hz: 5 }
    const line = event(5, { from: 'line', what: 'line health', data: { port: 'ht', health } })
    const at = (pace: number): RunEntry[] =>
      [...smallRun(), line].map((entry) =>
        entry.entry === 'known' ? { ...entry, known: { ...known, plan: { ...known.plan, pace } } } : entry,
      )
    put('fast', at(4))
    put('life', at(1))
    expect(slowglow('show', 'fast').out).toContain(
      "Lines to the instruments, in the run's time, which went 4 ×",
    )
    expect(slowglow('show', 'life').out).toContain('Lines to the instruments\n')
  })

  it('gives the same as one JSON document', () => {
    const path = put('a', smallRun())
    const story = JSON.parse(slowglow('show', path, '--json').out) as Story
    expect(story).toMatchObject({
      run: known.run,
      outcome: 'tripped',
      outputs_off: 'confirmed',
      reason: { code: 'over-trip', limit: 0.03, because: [{ limit: 'trip', value: 0.03 }] },
      stored_charge: { b2: 'not measured' },
      steps: [{ began_s: 0.001 }, { rails: [{ amps: 0.041, verdict: 'above trip' }] }],
    })
  })

  it('never takes a current that was not measured for a pass', () => {
    put(
      'a',
      smallRun().filter((entry) => entry.entry !== 'reading'),
    )
    expect(slowglow('show', 'a').out).toMatch(/not read \(for 60 V\) +– +10 mA .* not measured/)
  })

  it('says first that its seal is broken, here and in a comparison, and finds it', () => {
    const path = put('a', smallRun())
    put('b', smallRun())
    const db = new Database(path)
    db.exec("UPDATE event SET text = 'all was well'")
    db.close()
    const { out, code } = slowglow('show', 'a')
    expect(code).toBe(1)
    expect(out).toMatch(/^SEAL BROKEN/)
    expect(out.match(/SEAL BROKEN/g)).toHaveLength(1)
    expect(slowglow('compare', 'a', 'b')).toMatchObject({ code: 1 })
    expect(slowglow('compare', 'b', 'b')).toMatchObject({ code: 0 })
  })

  it('tells an interrupted run as interrupted, with every output taken as on', () => {
    put('a', smallRun().slice(0, -1))
    const { out } = slowglow('show', 'a')
    expect(out).toMatch(
      /INTERRUPTED.*\n.*take every output as on and every capacitor as charged; measure before touching/,
    )
    expect(out).not.toContain('confirmed off')
  })

  it('says when outputs were not confirmed off', () => {
    const run = smallRun().map(
      (entry): RunEntry =>
        entry.entry === 'ending'
          ? {
              ...entry,
              ending: { ...entry.ending, outputs_off: 'not confirmed', stored_charge: {}, details: {} },
            }
          : entry,
    )
    put('a', run)
    const { out } = slowglow('show', 'a')
    expect(out).toContain('OUTPUTS NOT CONFIRMED OFF')
    expect(out).toMatch(/stored charge .*\n {2}not measured: take it as charged/)
  })

  it('says that the unfinished part lies beside the file, or is missing', () => {
    const path = join(cwd, 'runs', 'live.slowglow')
    const writer = createRunFile(path)
    writer.append(smallRun().slice(0, 100))
    copyFileSync(path, join(cwd, 'alone.slowglow'))
    expect(slowglow('show', 'live').out).toMatch(
      /newest part of this record lies beside it in .*live.slowglow-wal/,
    )
    expect(slowglow('show', 'alone.slowglow').out).toMatch(/alone.slowglow-wal is missing/)
    writer.close()
  })

  it('tells a run whose supervisor lives as under way, here and in the list', () => {
    const path = put('a', smallRun().slice(0, -1))
    const bench = join(cwd, 'bench.yaml')
    writeFileSync(bench, '')
    const state = {
      ...{
        format: 'slowglow bench state 1',
        bench,
        run_file: path,
        off_plan: '',
        controller: null,
        places: {},
        speed: 1,
      },
      supervisor: { pid: process.pid, started: processStart(process.pid) ?? '' },
    }
    writeBenchState(benchStatePath(bench, { XDG_STATE_HOME: cwd }), state as BenchState)
    expect(slowglow('show', 'a').out).toMatch(/Under way: process \d+ supervises it, and outputs may be on/)
    expect(slowglow('runs').out).toMatch(/^ {2}under way$/m)
    expect(JSON.parse(slowglow('runs', '--json').out)).toMatchObject({ runs: [{ under_way: true }] })
  })

  it('lists a run that completed with warnings as that, and names a knob that was left open', () => {
    const run = smallRun().map(
      (entry): RunEntry =>
        entry.entry === 'ending'
          ? {
              ...entry,
              ending: {
                ...entry.ending,
                outcome: 'completed',
                reason: null,
                hand_rails: { mains: 'not confirmed by you' },
              },
            }
          : entry,
    )
    put('a', run)
    expect(slowglow('runs').out).toContain('completed, with warnings, mains NOT confirmed off by you')
    expect(slowglow('show', 'a').out).toMatch(
      /\n\nmains \(your own knob\): NOT confirmed off by you: .*\nCompleted, with warnings\.\n/,
    )
  })
  it('names the command that finds the cause after a trip and after a run with a finding, after no other', () => {
    const ended = (change: Partial<RunEnding>) =>
      smallRun().map(
        (entry): RunEntry =>
          entry.entry === 'ending' ? { ...entry, ending: { ...entry.ending, ...change } } : entry,
      )
    const completed = { outcome: 'completed', reason: null } as const
    put('odd', ended({ ...completed, warnings: ['HT stood near the edge of its band.'] }))
    put('good', ended({ ...completed, warnings: [] }))
    put('left', ended({ outcome: 'stopped' }))
    expect(slowglow('show', 'odd').out).toMatch(/^Causes: slowglow diagnose odd$/m)
    for (const name of ['good', 'left']) expect(slowglow('show', name).out).not.toContain('Causes:')
  })

  it('finds a run by a piece of its name, and asks for more where several fit', () => {
    put('20261101-101500-tern-rock-00ff', smallRun())
    put('20261102-111500-tern-rock-a1b2', smallRun())
    expect(slowglow('show', 'a1b2').code).toBe(0)
    expect(slowglow('show', '1115').out).toContain('20261102-111500')
    // What a name begins or ends with goes before what stands inside another.
    put('1115', smallRun())
    expect(slowglow('show', '1115').out).not.toContain('111500')
    expect(slowglow('show', '20261101').code).toBe(0)
    const both = slowglow('show', '2026')
    expect(both.code).toBe(2)
    expect(both.err).toMatch(/fits 2 runs/)
    const none = slowglow('show', '2027')
    expect(none.code).toBe(6)
    expect(none.err).toMatch(/There is no run 2027.*slowglow runs/)
  })

  it('exits 6 with a sentence where the file is no run file', () => {
    writeFileSync(join(cwd, 'text'), 'x'.repeat(200))
    const { err, out, code } = slowglow('show', 'text')
    expect([out, code]).toEqual(['', 6])
    expect(err).toMatch(/is not a run file/)
  })
})

describe('slowglow runs', () => {
  it('lists runs by date with set and outcome, unreadable ones too', () => {
    put('b', [
      { entry: 'known', known: { ...known, started: '2026-11-02T08:00:00.000Z', command: 'run' } },
      event(1e6),
    ])
    put('a', smallRun())
    writeFileSync(join(cwd, 'runs', 'c.slowglow'), '')
    const { out, code } = slowglow('runs')
    expect(code).toBe(0)
    expect(out).toMatch(
      /2026-11-01 10:15 UTC {2}Tern Rock receiver.*rehearsal.*\n {2}tripped: HT current 41 mA/,
    )
    expect(out).toMatch(/2026-11-02 08:00 UTC.*\n {2}interrupted, outputs not known to be off/)
    expect(out).toMatch(/^c {2}cannot be read: .*is empty/m)
    expect(out.indexOf('2026-11-01')).toBeLessThan(out.indexOf('2026-11-02'))
    const { runs } = JSON.parse(slowglow('runs', '--json').out) as { runs: RunLine[] }
    expect(runs.map(({ outcome }) => outcome)).toEqual(['tripped', 'interrupted', null])
  })

  const moved = (name: string, started: string, more: object = {}): string =>
    put(name, [{ entry: 'known', known: { ...known, run: name, started, ...more } }, ...smallRun().slice(1)])

  it('tells the size of each and of all, and only those that are asked for', () => {
    moved('a', '2026-11-01T10:00:00.000Z')
    moved('b', '2026-11-02T10:00:00.000Z', { command: 'run' })
    moved('c', '2026-11-03T10:00:00.000Z', { plan: { ...known.plan, equipment: 'Small receiver' } })
    const listed = (...flags: string[]): string[] =>
      (JSON.parse(slowglow('runs', ...flags, '--json').out) as { runs: RunLine[] }).runs.map(({ run }) => run)
    expect(listed('--set', 'tern')).toEqual(['a', 'b'])
    expect(listed('--kind', 'run')).toEqual(['b'])
    expect(listed('--outcome', 'completed')).toEqual([])
    expect(listed('--since', '2026-11-02')).toEqual(['b', 'c'])
    expect(listed('--since', '2026-11-02', '--until', '2026-11-02')).toEqual(['b'])
    expect(slowglow('runs').out).toMatch(/ {2}a {2}\d+ kB\n[^]*\n3 of 3 runs, \d+ kB, in /)
    for (const wrong of [
      ['--outcome', 'well'],
      ['--kind', 'test'],
      ['--since', 'yesterday'],
      ['--older-than', 'old'],
    ])
      expect(slowglow('runs', ...wrong).code).toBe(2)
  })

  it('puts old runs into an archive where they are found as before; the newest of a set and what has no ending stay', () => {
    for (const [name, day] of [
      ['a', '01'],
      ['b', '02'],
    ] as const)
      writeFileSync(`${moved(name, `2020-11-${day}T10:00:00.000Z`)}.off.json`, '{}')
    put('c', [
      { entry: 'known', known: { ...known, run: 'c', started: '2019-01-01T00:00:00.000Z', command: 'run' } },
    ])
    const { out, code } = slowglow('runs', '--archive')
    expect(code).toBe(0)
    expect(out).toMatch(/1 runs older than 90 days[^]*archive\/a\.slowglow/)
    expect(out).toMatch(/left: .*b\.slowglow: it is the newest of its set/)
    expect(out).toMatch(/left: .*c\.slowglow: it has no ending/)
    expect(readdirSync(join(cwd, 'runs')).sort()).toEqual([
      'archive',
      'b.slowglow',
      'b.slowglow.off.json',
      'c.slowglow',
    ])
    expect(readdirSync(join(cwd, 'runs', 'archive')).sort()).toEqual(['a.slowglow', 'a.slowglow.off.json'])
    // As a book names it.
    expect(whereIsRun(join(cwd, 'runs', 'a.slowglow'))).toBe(join(cwd, 'runs', 'archive', 'a.slowglow'))
    expect(whereIsRun(join(cwd, 'runs', 'archive', 'b.slowglow'))).toBe(join(cwd, 'runs', 'b.slowglow'))
    expect(whereIsRun(join(cwd, 'runs', 'z.slowglow'))).toBeNull()
    expect(slowglow('show', 'a').out).toContain('Tripped in step 2')
    expect(slowglow('runs').out).toMatch(/ {2}a {2}\d+ kB, archived\n/)
    expect(slowglow('runs', '--archive').out).toContain('No run was put aside')
  })

  it('leaves a run in its place that left its outputs open: safe-off may want the off plan beside it', () => {
    const open = smallRun().map(
      (entry): RunEntry =>
        entry.entry === 'known'
          ? { entry: 'known', known: { ...known, run: 'a', started: '2020-11-01T10:00:00.000Z' } }
          : entry.entry === 'ending'
            ? { ...entry, ending: { ...entry.ending, outputs_off: 'not confirmed' } }
            : entry,
    )
    put('a', open)
    moved('b', '2020-11-02T10:00:00.000Z')
    expect(slowglow('runs', '--archive').out).toMatch(
      /left: .*a\.slowglow: its outputs were not confirmed off/,
    )
  })

  it('of a folder that is not there exits 6; of an empty one says how to make a run', () => {
    expect(slowglow('runs', 'nowhere').code).toBe(6)
    expect(slowglow('runs').err).toMatch(/No runs .* yet/)
    mkdirSync(join(cwd, 'other'))
    expect(JSON.parse(slowglow('runs', 'other', '--json').out)).toMatchObject({ runs: [] })
  })
})
