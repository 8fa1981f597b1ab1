import { spawnSync } from 'node:child_process'
import {
  chownSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmdirSync,
  truncateSync,
  unlinkSync,
  writeFileSync,
} from 'node:fs'
import { join } from 'node:path'
import { Command } from 'commander'
import { describe, expect, it, vi } from 'vitest'
import { registerRuns } from '../../src/cli/commands/runs.js'
import { registerShow } from '../../src/cli/commands/show.js'
import { jsonLines } from '../../src/record/messages.js'
import { createRunFile, openFallback, restPlaces } from '../../src/record/index.js'
import { restsOf } from '../../src/record/rest.js'
import { event, folder, smallRun, tripped } from '../helpers/runs.js'

const ending = { entry: 'ending', t_us: 95_500_000, ending: tripped } as const

describe('what a run file does not take', () => {
  it('goes to the owner’s data folder before anywhere else, and to memory last', () => {
    const [home, runs] = [folder(), folder()]
    const file = join(runs, 'a.slowglow')
    const env = { HOME: home }
    const fallback = openFallback(file, 'rest', { env })
    fallback.put(jsonLines([event(1)]))
    fallback.close()
    const at = join(home, '.local', 'share', 'slowglow', 'runs', 'a-rest.jsonl')
    expect(fallback.where).toBe(at)
    expect(readFileSync(at, 'utf8').split('\n')).toHaveLength(3)
    const kinds = restPlaces(file, env).map(({ in_memory }) => in_memory)
    expect(kinds).toEqual(kinds.toSorted((a, b) => Number(a) - Number(b)))
  })

  it.skipIf(process.getuid?.() !== 0)('is not taken from a file that somebody else put there', () => {
    const [home, runs] = [folder(), folder()]
    const file = join(runs, 'a.slowglow')
    const planted = join(runs, 'a-rest.jsonl')
    writeFileSync(planted, jsonLines([ending]))
    expect(restsOf(file, { HOME: home })).toHaveLength(1)
    chownSync(planted, 65_534, 65_534)
    expect(restsOf(file, { HOME: home })).toEqual([])
  })

  it.skipIf(!existsSync('/dev/shm'))('is said to lie in memory where it does', () => {
    const at = join('/dev/shm', `slowglow-test-${process.pid}`)
    mkdirSync(at)
    try {
      const fallback = openFallback(join(folder(), 'a.slowglow'), 'rest', { folder: at })
      const { where } = fallback
      fallback.close()
      expect(where).toMatch(/a-rest\.jsonl \(in memory only: copy it before/)
    } finally {
      for (const name of readdirSync(at)) unlinkSync(join(at, name))
      rmdirSync(at)
    }
  })

  // A file system of its own that is really full: only where one may be made, as in a container.
  it('goes on in the next place where one is full, with nothing left of what it took in part', ({ skip }) => {
    const [home, small] = [folder(), folder()]
    const mounted = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=16k', 'tmpfs', small])
    skip(mounted.status !== 0, 'no file system may be mounted here')
    try {
      const fallback = openFallback(join(folder(), 'a.slowglow'), 'rest', {
        folder: small,
        env: { HOME: home },
      })
      fallback.put(jsonLines([event(1)]))
      const before = readFileSync(join(small, 'a-rest.jsonl'), 'utf8')
      fallback.put(jsonLines([event(2, { text: 'x'.repeat(30_000) }), event(3)]))
      fallback.close()
      expect(readFileSync(join(small, 'a-rest.jsonl'), 'utf8')).toBe(before)
      const next = readFileSync(join(home, '.local', 'share', 'slowglow', 'runs', 'a-rest.jsonl'), 'utf8')
      expect(next.split('\n').filter((line) => line.includes('"entry"'))).toHaveLength(2)
    } finally {
      spawnSync('umount', ['-l', small])
    }
  })

  it('is found by show and runs, which tell its ending and that no seal covers it', () => {
    const [cwd, home] = [folder(), folder()]
    vi.stubEnv('HOME', home)
    vi.stubEnv('XDG_DATA_HOME', '')
    try {
      const file = join(cwd, 'runs', 'a.slowglow')
      const writer = createRunFile(file, { fsync: false })
      writer.append(smallRun().slice(0, -1))
      writer.close()
      const slowglow = (...args: string[]) => {
        const out: string[] = []
        const io = {
          ...{ out: (text: string) => out.push(text), err: (text: string) => out.push(text) },
          ...{ isTerminal: false, colour: false, cwd, env: { XDG_STATE_HOME: cwd } },
        }
        const program = new Command()
        registerShow(program, io)
        registerRuns(program, io)
        program.parse(args, { from: 'user' })
        process.exitCode = undefined
        return out.join('\n')
      }
      expect(slowglow('show', 'a')).toContain('take every output as on')
      const fallback = openFallback(file, 'rest')
      fallback.put(jsonLines([event(95_000_000), ending]))
      const { where } = fallback
      fallback.close()
      const shown = slowglow('show', 'a')
      expect(shown).toMatch(
        /^INTERRUPTED: this record has no ending of its own\.\n.*told in .*a-rest\.jsonl, under no seal:\nTRIPPED: /m,
      )
      expect(shown).toContain('Outputs confirmed off, measured at the supplies.')
      expect(shown).toContain(`2 entries that the run file did not take lie in ${where}, under no seal`)
      expect(slowglow('runs')).toContain(`what this file did not take lies in ${where}`)
      truncateSync(where, readFileSync(where).length - 20)
      expect(slowglow('show', 'a')).toMatch(/take every output as on[^]*cannot be read to its end/)
      writeFileSync(where, '')
      expect(slowglow('show', 'a')).toContain('take every output as on')
    } finally {
      vi.unstubAllEnvs()
    }
  })
})
