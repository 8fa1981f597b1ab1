import { symlinkSync } from 'node:fs'
import { join } from 'node:path'
import { Command } from 'commander'
import { describe, expect, it } from 'vitest'
import { registerRuns } from '../../src/cli/commands/runs.js'
import { registerShow } from '../../src/cli/commands/show.js'
import { registerTrend } from '../../src/cli/commands/trend.js'
import { runsFolder } from '../../src/cli/runs-folder.js'
import { createRunFile, dataFolder, lastRunOf, type RunEntry } from '../../src/record/index.js'
import { folder, known, smallRun } from '../helpers/runs.js'

function put(at: string, name: string, entries: readonly RunEntry[] = smallRun()): void {
  const writer = createRunFile(join(at, `${name}.slowglow`), { fsync: false })
  writer.append(entries)
  writer.close()
}
function slowglow(cwd: string, env: Record<string, string>, ...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []]
  const io = {
    ...{ out: (text: string) => out.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd, env: { XDG_STATE_HOME: cwd, ...env } },
  }
  const program = new Command()
  registerShow(program, io)
  registerRuns(program, io)
  registerTrend(program, io)
  program.parse(args, { from: 'user' })
  const code = process.exitCode
  process.exitCode = undefined
  return { out: out.join('\n'), err: err.join('\n'), code }
}

describe('the data folder', () => {
  it('is where each system keeps what belongs to a person', () => {
    const home = { HOME: '/home/a' }
    expect(dataFolder(home, 'linux')).toBe('/home/a/.local/share/slowglow/runs')
    expect(dataFolder({ ...home, XDG_DATA_HOME: '/data' }, 'linux')).toBe('/data/slowglow/runs')
    // The standard has a relative path there counted as not set.
    expect(dataFolder({ ...home, XDG_DATA_HOME: 'data' }, 'linux')).toBe('/home/a/.local/share/slowglow/runs')
    expect(dataFolder({ ...home, XDG_DATA_HOME: '/data' }, 'darwin')).toBe(
      '/home/a/Library/Application Support/slowglow/runs',
    )
    expect(dataFolder({ LOCALAPPDATA: '/local' }, 'win32')).toBe('/local/slowglow/runs')
    expect(dataFolder({}, 'linux')).toBeNull()
    expect(dataFolder({}, 'win32')).toBeNull()
  })
})

describe('where runs live', () => {
  it('is said by the flag, else the setting, else runs that are here already, else the data folder', () => {
    const cwd = folder()
    const env = { XDG_DATA_HOME: '/data' }
    expect(runsFolder(undefined, { cwd, env })).toBe(dataFolder(env))
    expect(runsFolder(undefined, { cwd, env: {} })).toBe(join(cwd, 'runs'))
    put(join(cwd, 'runs'), 'a')
    expect(runsFolder(undefined, { cwd, env })).toBe(join(cwd, 'runs'))
    expect(runsFolder(undefined, { cwd, env: { ...env, SLOWGLOW_RUNS: 'mine' } })).toBe(join(cwd, 'mine'))
    expect(runsFolder('flag', { cwd, env: { ...env, SLOWGLOW_RUNS: 'mine' } })).toBe(join(cwd, 'flag'))
  })

  it('hides no run of before: runs says where more lie, and show finds them by name', () => {
    const [cwd, data] = [folder(), folder()]
    const env = { XDG_DATA_HOME: data }
    put(join(cwd, 'runs'), 'old')
    put(join(data, 'slowglow', 'runs'), 'new')
    const listed = slowglow(cwd, env, 'runs')
    expect(listed.out).toContain(`in ${join(cwd, 'runs')}`)
    expect(listed.err).toContain(`More runs lie in ${join(data, 'slowglow', 'runs')}`)
    for (const name of ['old', 'new']) expect(slowglow(cwd, env, 'show', name).code).toBe(0)
    const set = slowglow(cwd, { ...env, SLOWGLOW_RUNS: 'empty' }, 'runs', '--json')
    expect(JSON.parse(set.out)).toMatchObject({
      runs: [],
      elsewhere: [join(cwd, 'runs'), join(data, 'slowglow', 'runs')],
    })
  })

  it('tells a name that fits two runs elsewhere as that, not as none', () => {
    const [cwd, data] = [folder(), folder()]
    const env = { XDG_DATA_HOME: data }
    put(join(cwd, 'runs'), 'here')
    for (const name of ['there-a', 'there-b']) put(join(data, 'slowglow', 'runs'), name)
    const shown = slowglow(cwd, env, 'show', 'there')
    expect(shown.err).toMatch(/there fits 2 runs: there-a, there-b/)
    expect(shown.code).toBe(2)
  })

  it('follows a set over one of them, and says which are not counted', () => {
    const [cwd, data] = [folder(), folder()]
    const env = { XDG_DATA_HOME: data }
    const other = join(data, 'slowglow', 'runs')
    put(join(cwd, 'runs'), 'old')
    put(other, 'new')
    const args = ['trend', known.plan.equipment, '--rehearsals']
    expect(slowglow(cwd, env, ...args).err).toContain(`Runs in ${other} are not counted here`)
    expect(JSON.parse(slowglow(cwd, env, ...args, '--json').out)).toMatchObject({ elsewhere: [other] })
    expect(slowglow(cwd, env, ...args, '--runs', other).err).not.toContain('not counted')
  })

  it('has the next run held against the newest of all of them', () => {
    const [here, there] = [folder(), folder()]
    const run = (name: string): RunEntry[] =>
      smallRun().map((entry) =>
        entry.entry === 'known' ? { entry: 'known', known: { ...known, run: name, command: 'run' } } : entry,
      )
    put(here, '2026-11-01T10-00-00Z', run('first'))
    put(there, '2026-11-02T10-00-00Z', run('rewired'))
    const last = (...folders: string[]) => lastRunOf(folders, known.plan.equipment)?.known.run
    expect(last(here)).toBe('first')
    expect(last(here, there)).toBe('rewired')
    expect(last(there, here)).toBe('rewired')
  })
})

describe('a folder of runs that cannot be looked into', () => {
  it('is told, and never taken for an empty one', () => {
    const [cwd, data] = [folder(), folder()]
    const env = { XDG_DATA_HOME: data }
    put(join(data, 'slowglow', 'runs'), 'kept')
    // A link to itself: nobody, whatever their rights, can look into it.
    symlinkSync('runs', join(cwd, 'runs'))
    expect(runsFolder(undefined, { cwd, env })).toBe(join(cwd, 'runs'))
    const listed = slowglow(cwd, env, 'runs')
    expect(listed.code).toBe(6)
    expect(listed.err).toMatch(/runs cannot be looked into \([^)]+\)[^]*More runs lie in/)
    expect(slowglow(cwd, env, 'show', 'kept').code).toBe(0)
    const shown = slowglow(cwd, env, 'show', 'lost')
    expect(shown.code).toBe(6)
    expect(shown.err).toMatch(/There is no run lost[^]*cannot be looked into/)
    expect(slowglow(cwd, env, 'trend', known.plan.equipment).err).toMatch(/cannot be looked into/)
    expect(lastRunOf([join(cwd, 'runs')], known.plan.equipment)).toBeNull()
  })

  it('leaves the runs beside an archive like that, and says what is missing', () => {
    const cwd = folder()
    put(join(cwd, 'runs'), 'kept')
    symlinkSync('archive', join(cwd, 'runs', 'archive'))
    const listed = slowglow(cwd, {}, 'runs')
    expect(listed.code).toBe(1)
    expect(listed.out).toContain('1 of 1 runs')
    expect(listed.err).toMatch(/archive cannot be looked into/)
  })
})
