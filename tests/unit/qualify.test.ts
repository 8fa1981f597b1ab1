import { describe, expect, it } from 'vitest'
import type { Bench, Dialect } from '../../src/bench/index.js'
import { loadBench } from '../../src/files/index.js'
import {
  type ChannelFigures,
  figuresOf,
  loadAsSet,
  type Order,
  qualifyPlan,
  seenIn,
} from '../../src/qualify/index.js'
import { rehearse, type Rehearsal } from '../../src/rehearse/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { parseFault } from '../../src/virtual/index.js'

const whole = loadBench('profiles/tern-rock/bench.yaml').value as Bench
const order: Order = {
  channel: 'high.out',
  load: { ohm: 4700, tolerance: 0.01, rated_W: 50 },
  top_V: 300,
  meter: { of_reading: 0.001, plus: 0.05 },
  skip: [],
}

interface Qualified {
  readonly ran: Rehearsal
  readonly entries: readonly RunEntry[]
  readonly figures: ChannelFigures
}

/** A qualification in virtual time; `real`: what the supply is in fact, where its file says something else. */
function qualified(
  change: {
    readonly order?: Partial<Order>
    readonly says?: Partial<Dialect>
    readonly is?: Partial<Dialect>
    readonly faults?: readonly string[]
  } = {},
): Qualified {
  const of = { ...order, ...change.order }
  const speaking = (dialect: Partial<Dialect>): Bench => ({
    ...whole,
    supplies: Object.fromEntries(
      Object.entries(whole.supplies).map(([name, supply]) => [
        name,
        { ...supply, dialect: { ...supply.dialect, ...dialect } },
      ]),
    ),
  })
  const file = speaking(change.says ?? {})
  const { plan, bench, problems } = qualifyPlan(file, of)
  if (plan === null || bench === null) throw new Error(JSON.stringify(problems))
  const real = qualifyPlan(speaking({ ...change.says, ...change.is }), of).bench
  const faults = (change.faults ?? []).flatMap((text) => {
    const parsed = parseFault(text)
    return parsed.ok ? [parsed.value] : []
  })
  const entries: RunEntry[] = []
  const ran = rehearse(plan, loadAsSet(bench, of), bench, {
    seed: 3,
    faults,
    record: (entry) => entries.push(entry),
    poll_us: 0,
    ...(real !== null && { real }),
  })
  const channel = bench.supplies[of.channel.split('.')[0] ?? '']?.channels[of.channel.split('.')[1] ?? '']
  if (channel === undefined) throw new Error('no channel')
  return { ran, entries, figures: figuresOf(of, channel, seenIn(plan, of.channel, entries)) }
}

const within = (figure: { value: number; uncertainty: number } | null, truth: number): void => {
  expect(figure).not.toBeNull()
  expect(Math.abs((figure?.value ?? 0) - truth)).toBeLessThanOrEqual(figure?.uncertainty ?? 0)
}

describe('a qualification on the virtual bench', () => {
  const { ran, figures } = qualified()

  it('comes to its end with outputs confirmed off', () => {
    expect(ran.ending.outcome).toBe('completed')
    expect(ran.ending.outputs_off).toBe('confirmed')
    expect(ran.ending.warnings).toEqual([])
  })

  it('finds the output capacitor that the supply was built with', () => {
    within(figures.output_F, 47e-6)
  })

  it('finds the steps that its read-back has', () => {
    within(figures.resolution_V, 0.1)
    within(figures.resolution_A, 10e-6)
  })
})
