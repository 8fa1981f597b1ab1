import { spawn } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { processors, standAside } from '../../src/service/stand-aside.js'

const here = processors()
const dir = mkdtempSync(join(tmpdir(), 'slowglow-aside-'))
afterAll(() => {
  rmSync(dir, { recursive: true })
})

describe('a processor left to a run', () => {
  it.each([
    ['0-3,6', [0, 1, 2, 3, 6]],
    ['5', [5]],
    ['', []],
    ['all', []],
  ])('reads %j as the system tells which there are', (list, known) => {
    const status = join(dir, 'status')
    writeFileSync(status, `Name:\tnode\nCpus_allowed_list:\t${list}\nMems_allowed:\t1\n`)
    expect(processors(status)).toEqual(known)
  })

  it('knows of none where the system does not tell', () => {
    expect(processors('/nowhere/status')).toEqual([])
  })

  it.skipIf(here.length < 2)('is kept free by the processes named, until they go back', async () => {
    const busy = spawn(process.execPath, ['-e', 'setTimeout(() => {}, 60_000)'], { stdio: 'ignore' })
    const pid = busy.pid ?? 0
    const may = (): readonly number[] => processors(`/proc/${pid}/status`)
    try {
      const { aside, goBack } = standAside(() => [pid])
      expect(await aside).toBe(true)
      expect(may()).toEqual(here.slice(1))
      expect(await goBack()).toBe(true)
      expect(may()).toEqual(here)
    } finally {
      busy.kill('SIGKILL')
    }
    await new Promise((resolve) => busy.once('exit', resolve))
    // One that has gone is no trouble.
    const { aside, goBack } = standAside(() => [pid])
    await expect(Promise.all([aside, goBack()])).resolves.toHaveLength(2)
  })
})
