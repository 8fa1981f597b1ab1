import { spawn } from 'node:child_process'
import { writeFileSync } from 'node:fs'
import { dirname, join } from 'node:path'
import { pathToFileURL } from 'node:url'
import { afterAll, describe, expect, it } from 'vitest'
import { chance } from '../../src/chance/index.js'
import { openRunFile, type RunEntry } from '../../src/record/index.js'
import { compiled } from '../helpers/compiled.js'
import { integrityOf } from '../helpers/sound-file.js'
import { folder } from '../helpers/runs.js'

const writer = compiled('record/writer.ts')
afterAll(writer.remove)

/** Entry number i of an endless run: for the process that writes and for the test that checks. */
const entries = join(dirname(writer.path), 'entries-of-a-run.js')
writeFileSync(
  entries,
  `export const entry = (i) => i % 50 === 49
    ? { entry: 'event', event: { t_us: i, from: 'controller', what: 'intent', text: '', rail: null, step: null,
        intent: i, data: {}, durable: true } }
    : i % 3 === 0
      ? { entry: 'tick', t_us: i * 1000, late_us: i % 7 === 0 ? 5 : 0, slept_us: 0 }
      : { entry: 'reading', stream: i % 3, t_us: i * 1000 + (i * 7919) % 300, n: (i * 31) % 4000, k: 3 }`,
)

describe('a run file whose writer is killed', () => {
  it('opens, and holds every acknowledged entry and nothing but the beginning of the run', async () => {
    const script = join(dirname(writer.path), 'writes.js')
    writeFileSync(
      script,
      `import { writeSync } from 'node:fs'
      import { createRunFile } from './writer.js'
      import { entry } from './entries-of-a-run.js'
      const file = createRunFile(process.argv[2])
      for (let i = 0; ; i += 50) {
        file.append(Array.from({ length: 50 }, (_, j) => entry(i + j)))
        writeSync(1, (i + 50) + '\\n')
      }`,
    )
    const { entry } = (await import(pathToFileURL(entries).href)) as { entry: (i: number) => RunEntry }
    const random = chance(20261101)
    for (let round = 0; round < 10; round++) {
      const path = join(folder(), 'a.slowglow')
      const child = spawn(process.execPath, [script, path], { stdio: ['ignore', 'pipe', 'inherit'] })
      const wanted = 500 + Math.floor(random.next() * 12_000)
      let acknowledged = 0
      await new Promise((resolve) => {
        let rest = ''
        child.stdout.setEncoding('utf8').on('data', (chunk: string) => {
          const lines = (rest + chunk).split('\n')
          rest = lines.pop() ?? ''
          acknowledged = Number(lines.at(-1) ?? acknowledged)
          if (acknowledged >= wanted) child.kill('SIGKILL')
        })
        child.on('close', resolve)
      })
      // SQLite's own word first: it takes the unfinished part back in as any tool would.
      expect(integrityOf(path)).toBe('ok')
      const opened = openRunFile(path)
      if ('trouble' in opened) throw new Error(opened.trouble)
      expect(opened.reader.standing).toBe('open')
      const there = [...opened.reader.entries()]
      opened.reader.close()
      expect(there.length).toBeGreaterThanOrEqual(acknowledged)
      expect(there).toEqual(there.map((_, i) => entry(i)))
    }
  })
})
