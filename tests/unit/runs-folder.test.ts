import { join } from 'node:path'
import { Command } from 'commander'
import { describe, expect, it } from 'vitest'
import { registerRuns } from '../../src/cli/commands/runs.js'
import { registerShow } from '../../src/cli/commands/show.js'
import { dataFolder, runsFolder } from '../../src/cli/runs-folder.js'
import { createRunFile } from '../../src/record/index.js'
import { folder, smallRun } from '../helpers/runs.js'

function put(at: string, name: string): void {
  const writer = createRunFile(join(at, `${name}.slowglow`), { fsync: false })
  writer.append(smallRun())
  writer.close()
}
function slowglow(cwd: string, env: Record<string, string>, ...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []]
  const io = {
    ...{ out: (text: string) => out.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd, env: { XDG_RUNTIME_DIR: cwd, ...env } },
  }
  const program = new Command()
  registerShow(program, io)
  registerRuns(program, io)
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
})
