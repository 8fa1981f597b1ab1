import { copyFileSync, readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { Command } from 'commander'
import { describe, expect, it } from 'vitest'
import { registerCompare } from '../../src/cli/commands/compare.js'
import { registerExport } from '../../src/cli/commands/export.js'
import { registerReplay } from '../../src/cli/commands/replay.js'
import { registerReport } from '../../src/cli/commands/report.js'
import { registerRuns } from '../../src/cli/commands/runs.js'
import { registerShow } from '../../src/cli/commands/show.js'
import { registerTrend } from '../../src/cli/commands/trend.js'
import { formatVersion } from '../../src/record/layout.js'
import { folder } from '../helpers/runs.js'

const kept = 'tests/fixtures/run-files'

function slowglow(cwd: string, ...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []]
  const io = {
    ...{ out: (text: string) => out.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd, env: { XDG_STATE_HOME: cwd } },
  }
  const program = new Command()
  for (const register of [registerShow, registerRuns, registerExport, registerReplay, registerReport])
    register(program, io)
  registerCompare(program, io)
  registerTrend(program, io)
  program.parse(args, { from: 'user' })
  const code = process.exitCode
  process.exitCode = undefined
  return { out: out.join('\n'), err: err.join('\n'), code }
}

describe('every version of a run file', () => {
  it('has a kept file of its own: a new one brings its', () => {
    const versions = readdirSync(kept).flatMap(
      (name) => /^format-(\d+)(?:-.+)?\.slowglow$/.exec(name)?.[1] ?? [],
    )
    const wanted = Array.from({ length: formatVersion }, (_, i) => String(i + 1))
    expect([...new Set(versions)].sort()).toEqual(wanted)
  })

  it.each(readdirSync(kept))(
    '%s is listed, shown, drawn, laid beside itself, printed and taken away',
    (name) => {
      const cwd = folder()
      const run = join(cwd, name)
      copyFileSync(join(kept, name), run)
      const told = [
        ['runs', cwd],
        ['show', run, '--plot', 'all', '--events', '--limits', 'moments'],
        ['show', run, '--json'],
        ['compare', run, run],
        ['trend', name.includes('loft') ? 'Four' : 'Tern', '--runs', cwd, '--rehearsals'],
        ...['csv', 'jsonl', 'parquet'].map((format) => ['export', run, '--format', format]),
        ['report', run, '--out', 'a.html'],
      ].map((args) => slowglow(cwd, ...args))
      for (const { err, code } of told) {
        expect(err).toBe('')
        expect(code).toBe(0)
      }
      for (const { out } of told.slice(0, 5)) expect(out).toMatch(/Tern Rock|tern-rock|four-tube/i)
      // Agreement is of one version; of another it tells where they differ.
      expect([0, 1]).toContain(slowglow(cwd, 'replay', run).code)
      expect(readFileSync(join(cwd, 'a.html'), 'utf8')).toContain('Limits and their reasons')
      expect(readFileSync(join(cwd, name.replace('.slowglow', '.csv')), 'utf8')).toMatch(/^t \(s\),.*\n\d/)
    },
  )
})
