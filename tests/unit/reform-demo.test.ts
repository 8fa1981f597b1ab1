import { describe, expect, it } from 'vitest'
import { resolve } from 'node:path'
import { planFiles } from '../../src/cli/plan-files.js'
import { formedLines } from '../../src/cli/formed-text.js'
import { formedIn } from '../../src/record/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { fault } from '../faults/demo.js'
import { rehearse } from '../helpers/replayed.js'

const planned = planFiles(resolve('profiles/tern-rock/reform.yaml'), undefined, process.cwd())

/** The demo's night, once for all that is looked at. */
function night() {
  const { plan, parts } = planned
  if (plan === null || parts === null) throw new Error(JSON.stringify(planned.problems))
  const entries: RunEntry[] = []
  const { ending, virtual_s } = rehearse(plan, parts.equipment, parts.bench, {
    seed: parts.bench.seed,
    faults: parts.bench.faults.map(fault),
    behind: parts.behind,
    record: (entry) => entries.push(entry),
  })
  const events = entries.flatMap((entry) => (entry.entry === 'event' ? [entry.event] : []))
  return { plan, ending, virtual_s, events, formed: formedIn(plan, events) }
}

describe("the demo's four electrolytics in one night", () => {
  const { plan, ending, virtual_s, events, formed } = night()
  const of = (name: string) => formed.find(({ part }) => part === name)

  it('has the right verdict for each', () => {
    expect(ending.outcome, ending.reason?.text).toBe('completed')
    expect(ending.outputs_off).toBe('confirmed')
    expect(of('C1a')).toMatchObject({ verdict: 'good', code: null })
    expect(of('C1b')).toMatchObject({ verdict: 'marginal', code: null })
    expect(of('C3')).toMatchObject({ verdict: 'replace', code: null })
    expect(of('C3')?.why).toContain('dried out')
    expect(of('C5')).toMatchObject({ verdict: 'replace', code: 'rising' })
  })

  it('has the part that breaks down taken off with the volts down, and begins again from below', () => {
    const asked = events.find(({ what, text }) => what === 'prompt' && text.startsWith('C5 given up'))
    const given = events.find(({ what, text }) => what === 'judgement' && text.includes('given up'))
    const again = events.filter(({ what, text }) => what === 'step' && text.includes('rung 1.'))
    expect(given?.t_us).toBeLessThan(asked?.t_us ?? 0)
    expect(again.at(-1)?.t_us).toBeGreaterThan(asked?.t_us ?? Infinity)
    // 70 % of 450 V is where its oxide goes; it never saw the last volts.
    expect(of('C5')?.volts).toBeLessThan(0.85 * 430)
    expect(virtual_s / 3600).toBeGreaterThan(5)
    // Steps taken twice are done once; the first is not announced.
    const taken = new Set(events.filter(({ what }) => what === 'step').map(({ step }) => step))
    expect(ending.steps_done).toBe(1 + taken.size)
  })

  it('is told at a glance: a line a part, what it was held against, and why', () => {
    const text = formedLines({ electrolytics: formed, kind: plan.kind, duration_s: virtual_s }).join('\n')
    expect(text).toMatch(/C1a {2,}GOOD/)
    expect(text).toMatch(/C5 {2,}REPLACE/)
    expect(text).toContain('JAN-C-62')
    expect(text).toMatch(/C3: leaks .*dried out/)
    expect(formed.every(({ curve }) => curve.length > 5)).toBe(true)
  })

  it('names limits with their sources and what the bench tells apart before anything is energised', () => {
    const said = plan.unproved.join('\n')
    for (const name of ['C1a', 'C1b', 'C3', 'C5']) expect(said).toContain(`${name}: held against`)
    expect(said).toMatch(/smallest leakage this bench tells at 430 V is \d+(\.\d)? µA/)
    expect(plan.wires.some(({ text }) => text.includes('POSITIVE end'))).toBe(true)
    expect(plan.figures.hazards.join(' ')).toContain('burst')
  })
})
