import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { beforeAll, describe, expect, it } from 'vitest'
import { escaped } from '../../src/cli/report/html.js'
import { reportPage } from '../../src/cli/report/page.js'
import { addNote, createRunFile, openRunFile, type RunEntry, storyOf } from '../../src/record/index.js'
import { known, smallRun } from '../helpers/runs.js'

function page(entries: readonly RunEntry[], note?: string): string {
  const at = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  const path = join(at, 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  if (note !== undefined) addNote(path, { written: '2026-11-25T10:00:00Z', by: 'Ada', text: note })
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  const html = reportPage(opened.reader, storyOf(opened.reader))
  opened.reader.close()
  rmSync(at, { recursive: true })
  return html
}

describe('the report of a run', () => {
  let html = ''
  beforeAll(() => {
    html = page(smallRun())
  })

  it('needs nothing else to open: no script, nothing fetched, and a policy that forbids both', () => {
    expect(html).not.toMatch(/<script|<img|<link|https?:|url\(/i)
    expect(html).toContain("default-src 'none'")
  })

  it('tells how it ended, both statements of off, the limits with their sources, and has a place to sign', () => {
    expect(html).toContain('tripped')
    expect(html).toContain('measure before touching')
    expect(html).toContain('common practice, no source')
    expect(html).toContain('Judged by')
    expect(html).toMatch(/Seal<\/dt><dd>whole, last link [0-9a-f]{64}/)
  })

  it('signs off no check of the hook-up, and no question, in which the run ended', () => {
    const inHookUp = (outcome: 'tripped' | 'completed'): string =>
      page(
        smallRun().map((entry): RunEntry => {
          if (entry.entry === 'ending') return { ...entry, ending: { ...entry.ending, outcome } }
          if (entry.entry !== 'known') return entry
          const steps = known.plan.steps.map((step) =>
            step.index === 2 ? { ...step, do: 'hook-up check' as const } : step,
          )
          return { entry: 'known', known: { ...known, plan: { ...known.plan, steps } } }
        }),
      )
    expect(inHookUp('tripped')).toContain('<td>not finished</td>')
    expect(inHookUp('tripped')).not.toContain('<td>proved</td>')
    expect(inHookUp('completed')).toContain('<td>proved</td>')
  })

  it('holds the plan as a plan: hook-up, every step with its target and hold, begun or not', () => {
    const [first] = smallRun()
    if (first?.entry !== 'known') throw new Error('no plan')
    const plan = {
      ...known.plan,
      prove_dead: [{ rail: 'HT', at: 'C12' }],
      wires: [{ of: 'HT', text: 'red lead to C12' }],
      hookup: [{ rail: 'HT', supply: 'high.out', proved_by: 'its current at 5 V' }],
    } as unknown as typeof known.plan
    const made = page([{ entry: 'known', known: { ...known, plan } }, ...smallRun().slice(1, 5)])
    expect(made).toContain('<h2>The plan</h2>')
    expect(made).toContain('Proved dead before anything is touched: HT at C12')
    expect(made).toContain('HT, from high.out: red lead to C12')
    expect(made).toContain('HT: proved by its current at 5 V')
    expect(made).toMatch(/hands clear, raise HT<\/td><td>120 V<\/td><td>1 V\/s<\/td><td>60 s/)
    expect(made).toMatch(/<td>for 120 V<\/td>.*not begun/)
  })

  it('draws volts and current of each rail, the spike of a single sample too', () => {
    expect(html).toContain('HT, volts over the time of the run')
    expect(html).toContain('HT, current over the time of the run')
    const heights = (made: string): number[] => {
      const current = made.slice(made.indexOf('HT, current over'))
      const points = /<polyline points="([^"]+)"/.exec(current)?.[1] ?? ''
      return points.split(' ').map((point) => Number(point.split(',')[1]))
    }
    /** How much of the plot's height the highest reading stands above the middle one. */
    const above = (made: string): number => {
      const sorted = heights(made).toSorted((a, b) => a - b)
      return (sorted[Math.floor(sorted.length / 2)] ?? 0) - (sorted[0] ?? 0)
    }
    const entries = smallRun()
    const at = entries.findIndex(
      (entry) => entry.entry === 'reading' && entry.stream === 2 && entry.t_us > 4e6,
    )
    const spiked = entries.map((entry, i) =>
      i === at && entry.entry === 'reading' ? { ...entry, n: 40 * Math.max(1, entry.n) } : entry,
    )
    expect(above(page(spiked))).toBeGreaterThan(above(page(entries)) + 20)
  })

  it('takes nothing that a person or a file wrote for markup', () => {
    const strange = '<script>alert(1)</script> & "quoted" \'twice\''
    const entries = smallRun().map(
      (entry): RunEntry =>
        entry.entry === 'known'
          ? {
              entry: 'known',
              known: { ...known, plan: { ...known.plan, equipment: strange }, files: { [strange]: strange } },
            }
          : entry,
    )
    const made = page(entries, strange)
    expect(made).not.toContain('<script>')
    expect(made).toContain(escaped(strange))
  })

  it('says of a record without an ending that everything is to be taken as on and charged', () => {
    const html_ = page(smallRun().filter(({ entry }) => entry !== 'ending'))
    expect(html_).toContain('take every output as on and every capacitor as charged')
    expect(html_).not.toMatch(/safe to touch/i)
  })
})
