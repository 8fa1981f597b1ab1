import { existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs'
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

/** The only process that this one has started, or what it has started. */
function deskPid(): number {
  const children = readdirSync('/proc/self/task').flatMap((task) =>
    readFileSync(`/proc/self/task/${task}/children`, 'utf8').split(' ').filter(Boolean),
  )
  const found = children.filter((pid) =>
    readFileSync(`/proc/${pid}/cmdline`, 'utf8').includes('desk.process'),
  )
  expect(found).toHaveLength(1)
  return Number(found[0])
}

describe('what answers heavy questions', () => {
  it('stands behind the controller in line for the processor, whether Linux counts by process or by session', async () => {
    await desk.ask('runs', {})
    const pid = deskPid()
    expect(getPriority(pid)).toBe(10)
    // Field 6 of proc(5)'s stat: its session.
    const stat = readFileSync(`/proc/${pid}/stat`, 'latin1')
    expect(Number(stat.slice(stat.lastIndexOf(')') + 2).split(' ')[3])).toBe(pid)
    const group = `/proc/${pid}/autogroup`
    if (existsSync(group))
      await expect.poll(() => readFileSync(group, 'utf8'), { timeout: 5000 }).toMatch(/ nice 5$/m)
  })
})
