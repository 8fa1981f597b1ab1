import { existsSync, mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { getPriority, tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'
import { afterAll, describe, expect, it } from 'vitest'
import { Desk } from '../../src/service/desk.js'

const runs = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
const desk = new Desk(pathToFileURL(resolve('dist/cli/desk/desk.process.js')), {
  folder: resolve('profiles'),
  runs,
  elsewhere: [],
})
afterAll(() => {
  desk.end()
  rmSync(runs, { recursive: true, force: true })
})

/** The one process that has been asked. */
function deskPid(): number {
  expect(desk.pids).toHaveLength(1)
  return desk.pids[0] ?? 0
}

describe('what answers heavy questions', () => {
  it('is there before it is asked, in no line behind others while there is no run', async () => {
    desk.begin()
    const pid = deskPid()
    await desk.ask('runs', {})
    expect([deskPid(), getPriority(pid)]).toEqual([pid, getPriority()])
  })

  it('stands behind the controller in line for the processor while there is one, whether Linux counts by process or by session', async () => {
    const pid = deskPid()
    desk.standBehind()
    await desk.ask('runs', {})
    expect(getPriority(pid)).toBe(10)
    // Field 6 of proc(5)'s stat: its session.
    const stat = readFileSync(`/proc/${pid}/stat`, 'latin1')
    expect(Number(stat.slice(stat.lastIndexOf(')') + 2).split(' ')[3])).toBe(pid)
    const group = `/proc/${pid}/autogroup`
    if (existsSync(group))
      await expect.poll(() => readFileSync(group, 'utf8'), { timeout: 5000 }).toMatch(/ nice 5$/m)
  })

  it('comes forward as another process when the run is over, and what it was asked before is answered', async () => {
    const pid = deskPid()
    const asked = desk.ask('runs', {})
    desk.comeForward()
    expect(JSON.parse(await asked)).toEqual(JSON.parse(await desk.ask('runs', {})))
    expect(deskPid()).not.toBe(pid)
    expect(getPriority(deskPid())).toBe(getPriority())
    await expect.poll(() => existsSync(`/proc/${pid}/cmdline`), { timeout: 5000 }).toBe(false)
    expect(desk.counts).toMatchObject({ refused: 0, restarted: 0, waiting: 0 })
  })

  it('that is started beside a run stands behind it from the first', async () => {
    desk.standBehind()
    process.kill(deskPid(), 'SIGKILL')
    await expect.poll(() => desk.pids).toEqual([])
    await desk.ask('runs', {})
    expect(getPriority(deskPid())).toBe(10)
  })
})
