import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { supplies } from '../../src/cli/commands/supplies.js'
import { benchStatePath, processStart, writeBenchState } from '../../src/controller/index.js'
import { troubleOf } from '../../src/supply/trouble.js'
import { soundBench } from '../helpers/files.js'

describe('slowglow supplies', () => {
  it('leaves a bench alone on which a run is under way, and says so before any port is opened', async () => {
    const dir = mkdtempSync(join(tmpdir(), 'slowglow-supplies-'))
    try {
      const bench = join(dir, 'bench.yaml')
      writeFileSync(bench, soundBench)
      const env = { XDG_STATE_HOME: dir }
      const said: string[] = []
      const print = (text: string): void => void said.push(text)
      writeBenchState(benchStatePath(bench, env), {
        format: 'slowglow bench state 1',
        bench,
        bench_kind: 'real',
        run_file: join(dir, 'run.slowglow'),
        off_plan: null,
        supervisor: { pid: process.pid, started: processStart(process.pid) ?? '' },
        controller: null,
        places: {},
        speed: 1,
        identities: {},
      })
      const io = { out: print, err: print, isTerminal: false, colour: false, cwd: dir, env }
      expect(await supplies({ bench: 'bench.yaml' }, io)).toBe(5)
      expect(said.join('\n')).toMatch(/A run is under way on this bench: its lines are its own/)
      expect(said.join('\n')).not.toContain('ttyS0')
    } finally {
      rmSync(dir, { recursive: true, force: true })
    }
  })

  it('never advises to end a run where a line is held by another program', () => {
    const line = { kind: 'serial', path: '/dev/ttyS0', baud: 9600, spare_allowed: true } as const
    const { text } = troubleOf(line, 'Error Resource temporarily unavailable Cannot lock port')
    expect(text).toMatch(/busy.*Where that is a run of slowglow, leave it alone until it has ended/)
  })
})
