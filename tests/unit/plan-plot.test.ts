import { mkdtempSync, readFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { planSvg } from '../../src/cli/plan-plot/svg.js'
import { planPlots } from '../../src/cli/plan-plot/text.js'
import { roundStep } from '../../src/cli/plan-plot/points.js'
import { plan as planCommand } from '../../src/cli/commands/plan.js'
import { demo, planned } from '../helpers/small-set.js'

const receive = planned(demo('tern-rock/receive'))

describe('a plan drawn over rail volts', () => {
  const svg = planSvg(receive) ?? ''

  it('names every limit at its line, and tells each step’s figures where the pointer rests', () => {
    for (const name of ['ceiling', 'trip', 'expected', 'asks below', 'band, 9 of 10 sets'])
      expect(svg).toContain(`>${name}`)
    const steps = receive.steps.filter(({ do: what, rail }) => what === 'raise' && rail === 'HT')
    expect(svg.match(/<title>step \d+/g)).toHaveLength(steps.length)
    expect(svg).toMatch(/step \d+, 250 V: expected [\d.]+ mA/)
  })

  it('keeps every line inside its chart, ceiling above trip above band', () => {
    const lines = [...svg.matchAll(/<polyline points="([^"]+)"/g)].map(([, points = '']) =>
      points.split(' ').map((point) => point.split(',').map(Number)),
    )
    for (const point of lines.flat()) {
      expect(point[0]).toBeGreaterThanOrEqual(0)
      expect(point[0]).toBeLessThanOrEqual(900)
      expect(point[1]).toBeGreaterThan(0)
    }
    const [ceiling = [], trip = [], expected = [], ask = []] = lines
    for (const at of expected.keys()) {
      expect(ceiling[at]?.[1]).toBeLessThanOrEqual(trip[at]?.[1] ?? NaN)
      expect(trip[at]?.[1]).toBeLessThan(expected[at]?.[1] ?? NaN)
      expect(expected[at]?.[1]).toBeLessThan(ask[at]?.[1] ?? NaN)
    }
  })

  it('is drawn in characters too, with the same names', () => {
    const text = planPlots(receive).join('\n')
    expect(text).toContain('HT, mode receive')
    expect(text).toContain(': band   e expected   t trip   C ceiling   . asks below')
    expect(Math.max(...text.split('\n').map((line) => line.length))).toBeLessThanOrEqual(80)
  })

  it('is written by plan --svg, and a place that cannot be written is wrong usage', () => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
    const said: string[] = []
    const io = {
      out: () => undefined,
      err: (text: string) => said.push(text),
      isTerminal: false,
      colour: false,
      cwd: process.cwd(),
      env: {},
    }
    const file = join(folder, 'plan.svg')
    expect(planCommand('profiles/tern-rock/receive.yaml', { svg: file }, io)).toBe(0)
    expect(readFileSync(file, 'utf8')).toContain('</svg>')
    expect(planCommand('profiles/tern-rock/receive.yaml', { svg: join(folder, 'no', 'plan.svg') }, io)).toBe(
      2,
    )
    expect(said.join('\n')).toContain('Give another file after --svg.')
  })

  it('is nothing where no rail is raised twice', () => {
    const single = { ...receive, steps: receive.steps.slice(0, 6) }
    expect(planSvg(single)).toBeNull()
    expect(planPlots(single)).toEqual([])
  })

  it.each([
    [250, 8, 50],
    [0.13, 6, 0.05],
    [1, 10, 0.1],
    [7, 7, 1],
  ])('steps its scale roundly: %d in about %d', (most, count, step) => {
    expect(roundStep(most, count)).toBe(step)
  })
})
