import { join } from 'node:path'
import { Command } from 'commander'
import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { registerShow } from '../../src/cli/commands/show.js'
import type { Plotted } from '../../src/cli/run-plot.js'
import { createRunFile, openRunFile, type RunEntry } from '../../src/record/index.js'
import { folder, smallRun } from '../helpers/runs.js'

function put(entries: readonly RunEntry[]): string {
  const path = join(folder(), 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  writer.append(entries)
  writer.close()
  return path
}
function shown(path: string, ...args: string[]) {
  const [out, err]: [string[], string[]] = [[], []]
  const io = {
    ...{ out: (text: string) => out.push(text), err: (text: string) => err.push(text) },
    ...{ isTerminal: false, colour: false, cwd: '/', env: { XDG_STATE_HOME: folder() } },
  }
  const program = new Command()
  registerShow(program, io)
  program.parse(['show', path, ...args], { from: 'user' })
  const code = process.exitCode
  process.exitCode = undefined
  return { out: out.join('\n'), err: err.join('\n'), code }
}

describe('the plot of a run in a terminal', () => {
  it('draws volts and current of the rail it ended on, with band, trip and the numbers of the steps', () => {
    const { out, code } = shown(put(smallRun()), '--width', '70')
    expect(code).toBe(0)
    const plots = out.slice(out.indexOf('HT, volts:'))
    expect(plots).toMatch(/HT, volts: 901 readings/)
    expect(plots).toMatch(/ 80 V \|/)
    expect(plots).toMatch(/HT, current: 901 readings[^]* 41 mA \| +#\n[^]*t[^]*:[^]*step +1 +2\n/)
    expect(plots).toContain('# measured   : band   t trip')
    for (const line of plots.split('\n')) expect(line.length).toBeLessThanOrEqual(70)
  })

  it('shows a spike of one sample among a hundred thousand', () => {
    const [first, ...rest] = smallRun()
    const many = Array.from({ length: 100_000 }, (_, i): RunEntry => {
      return { entry: 'reading', stream: 2, t_us: 1000 * i, n: i === 54_321 ? 900 : 40, k: 4 }
    })
    const told = rest.filter(({ entry }) => entry === 'stream')
    const { out } = shown(put([...(first ? [first] : []), ...told, ...many]), '--plot', 'HT', '--width', '80')
    const top = out.split('\n').find((line) => line.startsWith('    90 mA |'))
    expect(top).toMatch(/\| +#$/)
    expect(top?.indexOf('#')).toBe(11 + Math.floor((54_321 * 68) / 100_000))
  })

  it('zoomed in gives every reading as it was taken, to the last digit', () => {
    const path = put(smallRun())
    const { out } = shown(path, '--from', '0:00:10', '--to', '11 s')
    expect(out).toContain('HT, volts: 10 readings, each drawn')
    expect(out).toMatch(/0:00:10\.100310 +HT\.V +10 V +10 V/)
    const { plots } = JSON.parse(shown(path, '--from', '10 s', '--to', '11 s', '--json').out) as {
      plots: Plotted[]
    }
    expect(plots.map(({ stream }) => stream)).toEqual(['HT.V', 'HT.A'])
    expect(plots[0]?.readings?.[0]).toEqual({ t_s: 10.10031 - 0.1, value: 9.9 })
    expect(plots[0]?.columns).toBeNull()
  })

  it('refuses what is no moment, no rail, no width, and an empty window, each in a sentence', () => {
    const path = put(smallRun())
    for (const [args, what] of [
      [['--from', 'noon'], /noon is no moment of a run/],
      [['--from', '20 s', '--to', '10 s'], /Nothing lies between/],
      [['--plot', 'grid'], /no readings of a rail grid[^]*Its rails: HT/],
      [['--width', '3'], /3 characters wide/],
    ] as const) {
      const { err, code } = shown(path, ...args)
      expect(code).toBe(2)
      expect(err).toMatch(what)
    }
    expect(shown(path, '--from', '2 h').out).toContain('Nothing was read in that time.')
    expect(shown(path, '--plot', 'none').out).not.toContain('# measured')
  })
})

/** Pixels of a line through points in pixel columns and rows: each segment by the usual stepping along its longer side. */
function pixels(points: readonly (readonly [number, number])[]): Set<string> {
  const lit = new Set<string>()
  points.forEach(([x, y], i) => {
    const [x0, y0] = points[i - 1] ?? [x, y]
    const length = Math.max(Math.abs(x - x0), Math.abs(y - y0), 1)
    for (let j = 0; j <= length; j++)
      lit.add(`${Math.round(x0 + ((x - x0) * j) / length)},${Math.round(y0 + ((y - y0) * j) / length)}`)
  })
  return lit
}

describe('a plot from first, last, lowest and highest of each pixel column', () => {
  // Published: U. Jugel, Z. Jerzak, G. Hackenbroich, V. Markl, "M4: a visualization-oriented time series data aggregation",
  // Proceedings of the VLDB Endowment 7 (2014): these four a column draw a line without any error in its pixels.
  it('lights the same pixels as one from every reading', () => {
    const series = fc.array(fc.tuple(fc.nat({ max: 40_000 }), fc.integer({ min: -500, max: 500 })), {
      minLength: 2,
      maxLength: 1500,
    })
    fc.assert(
      fc.property(series, fc.integer({ min: 2, max: 80 }), (steps, width) => {
        let t_us = 0
        const readings = steps.map(([gap, n]): Extract<RunEntry, { entry: 'reading' }> => {
          t_us += gap
          return { entry: 'reading', stream: 1, t_us, n, k: 0 }
        })
        const from_us = readings[0]?.t_us ?? 0
        if (t_us === from_us) return
        const opened = openRunFile(put(readings))
        if ('trouble' in opened) throw new Error(opened.trouble)
        const { columns } = opened.reader.overview(1, width, from_us, t_us)
        opened.reader.close()
        const row = (value: number): number => Math.round((value + 500) / 25)
        const all = readings.map(({ t_us: t, n }) => {
          const column = Math.min(width - 1, Math.floor(((t - from_us) / (t_us - from_us)) * width))
          return [column, row(n)] as const
        })
        const thinned = columns.flatMap(({ column, first, last, min, max }) =>
          [first, min, max, last].map((value) => [column, row(value)] as const),
        )
        expect(thinned.length).toBeLessThanOrEqual(4 * width)
        expect(pixels(thinned)).toEqual(pixels(all))
      }),
      { numRuns: 40 },
    )
  })
})
