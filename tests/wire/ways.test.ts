import { chmodSync, mkdirSync, mkdtempSync, readFileSync, rmSync, symlinkSync, writeFileSync } from 'node:fs'
import { execFileSync } from 'node:child_process'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { LiveRun, shortProfile } from '../helpers/live-run.js'

/** The other ways to reach a bench: loopback TCP, and a terminal line made where socat is not installed. */

const folders: string[] = []
let run: LiveRun | null = null
afterEach(async () => {
  await run?.end()
  run = null
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true })
})
const folder = (): string => {
  const made = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  folders.push(made)
  return made
}

async function completes(live: LiveRun): Promise<void> {
  run = live
  await live.acknowledge()
  expect([0, 1]).toContain(await live.exit(60_000))
  expect(live.record().ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
}

describe('a run', () => {
  it('completes over loopback TCP', async () => {
    const bench = join(folder(), 'bench.yaml')
    const text = readFileSync('profiles/tern-rock/bench.yaml', 'utf8')
    writeFileSync(
      bench,
      text
        .replaceAll('as: pty', 'as: tcp')
        .replace('equipment: equipment.yaml', `equipment: ${resolve('profiles/tern-rock/equipment.yaml')}`),
    )
    await completes(new LiveRun([shortProfile, '--bench', bench, '--speed', '20']))
  }, 90_000)

  it('completes over terminal lines made by util-linux where socat is missing', async () => {
    // A PATH that holds what the fallback needs and no socat.
    const path = join(folder(), 'bin')
    mkdirSync(path)
    for (const tool of ['script', 'sh', 'bash', 'stty', 'tty', 'cat', 'env']) {
      const found = execFileSync('sh', ['-c', `command -v ${tool}`], { encoding: 'utf8' }).trim()
      symlinkSync(found, join(path, tool))
    }
    chmodSync(path, 0o755)
    await completes(new LiveRun([shortProfile, '--speed', '20'], folder(), { PATH: path }))
  }, 90_000)
})
