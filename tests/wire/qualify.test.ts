import { cpSync, existsSync, mkdtempSync, readFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { LiveRun } from '../helpers/live-run.js'

const runs: LiveRun[] = []
afterEach(async () => {
  for (const run of runs.splice(0)) await run.end()
})

/** A qualification over a real terminal line, the virtual supply in a process of its own. */
function qualify(...more: string[]): { run: LiveRun; folder: string } {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  cpSync('profiles/tern-rock', folder, { recursive: true })
  const order = [
    '--channel',
    'high.out',
    '--load',
    '1k',
    '--rated',
    '50 W',
    '--to',
    '50 V',
    '--meter',
    'none',
  ]
  const run = new LiveRun(
    ['--bench', join(folder, 'bench.yaml'), ...order, '--tolerance', '1 %', ...more],
    folder,
    {},
    'qualify',
  )
  runs.push(run)
  return { run, folder }
}

describe('slowglow qualify', () => {
  it('energises nothing before the word is typed; then measures, ends off and writes what it found', async () => {
    const { run, folder } = qualify('--speed', '4')
    await run.session.shows(/DUMMY LOAD/)
    expect(existsSync(join(folder, 'bench.qualification.yaml'))).toBe(false)
    await run.acknowledge()
    const exit = await run.exit(120_000)
    const { ending, events } = run.record()
    expect(ending?.reason?.text ?? null).toBeNull()
    expect(ending?.outcome).toBe('completed')
    expect(ending?.outputs_off).toBe('confirmed')
    expect([0, 1]).toContain(exit)
    expect(events.some(({ data }) => data.proof === 'off')).toBe(true)
    const written = readFileSync(join(folder, 'bench.qualification.yaml'), 'utf8')
    expect(written).toContain('slowglow: qualification 1')
    expect(written).toContain('identity: VIRTUAL BENCH,high,0,1.0')
  }, 150_000)

  it('asks on the terminal for what its flags leave out, again where an answer is none, and then for the word', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
    cpSync('profiles/tern-rock', folder, { recursive: true })
    const run = new LiveRun(['--bench', join(folder, 'bench.yaml')], folder, {}, 'qualify')
    runs.push(run)
    const { session } = run
    for (const [asked, answer] of [
      [/1\. Which output/, 'the big one'],
      [/none of them[^]*1\. Which output/, 'high.out'],
      [/2\. How many ohms/, 'abc'],
      [/not a resistance[^]*2\. How many ohms/, '1k'],
      [/3\. How far/, ''],
      [/4\. What power/, '50 W'],
      [/5\. Up to how many volts/, '50 V'],
      [/6\. The error/, ''],
    ] as const) {
      await session.shows(asked)
      session.type(`${answer}\r`)
    }
    await session.shows(/type the word: \w+/)
    session.type('never\r')
    await session.shows(/type the word: \w+[^]*type the word/)
    session.type('\u0003')
    expect(await run.exit()).toBe(7)
    expect(session.seen).toContain('Given up before anything was energised')
    expect(existsSync(join(folder, 'bench.qualification.yaml'))).toBe(false)
  }, 90_000)
})
