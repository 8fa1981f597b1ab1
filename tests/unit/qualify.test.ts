import { describe, expect, it } from 'vitest'
import type { Bench, Dialect } from '../../src/bench/index.js'
import { loadBench } from '../../src/files/index.js'
import {
  against,
  type ChannelFigures,
  failureOf,
  figuresOf,
  loadAsSet,
  type Order,
  qualificationText,
  qualifyPlan,
  seenIn,
} from '../../src/qualify/index.js'
import type { Plan } from '../../src/plan/index.js'
import type { Rehearsal } from '../../src/rehearse/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { parseFault } from '../../src/virtual/index.js'
import { rehearse } from '../helpers/replayed.js'

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
  readonly plan: Plan
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
  return { ran, plan, entries, figures: figuresOf(of, channel, seenIn(plan, of.channel, entries)) }
}

type Per = 'supply' | 'output'

/**
 * The same bench, its supply with another output beside the one under test. `is`: what it has in fact, one timer for all or one for each
 * output, where its file says something else; `first`: the output that stands first, which is then chosen when a plain word arms it.
 */
function withTwo(
  says: Per,
  {
    is = says,
    first = 'aux',
    any = false,
    says_nothing = false,
  }: { is?: Per; first?: 'aux' | 'out'; any?: boolean; says_nothing?: boolean } = {},
) {
  const high = whole.supplies['high']
  const out = high?.channels['out']
  const timer = guarded.dead_man
  if (high === undefined || out === undefined || !timer) throw new Error('no supply')
  const aux = { ...out, feeds: 'AUX', number: 1 }
  const tested = { ...out, number: 2 }
  const channels = first === 'aux' ? { aux, out: tested } : { out: tested, aux }
  const of = { ...order, meter: null, skip: ['current limit', 'over-voltage', 'over-current'] as const }
  const made = (per: Per) => {
    const dead_man = {
      ...timer,
      per,
      ...(any && { feed: null }),
      ...(says_nothing && { ask_expired: null }),
    }
    const dialect = { ...high.dialect, ...guarded, select: ':INST:NSEL {n};', dead_man }
    const two: Bench = { ...whole, supplies: { high: { ...high, channels, dialect } }, stacks: [] }
    return qualifyPlan(two, of)
  }
  const { plan, bench, problems } = made(says)
  const real = made(is).bench
  if (plan === null || bench === null || real === null) throw new Error(JSON.stringify(problems))
  const entries: RunEntry[] = []
  const ran = rehearse(plan, loadAsSet(bench, of), bench, {
    ...{ seed: 3, faults: [], poll_us: 0, real },
    record: (entry) => entries.push(entry),
  })
  const figures = figuresOf(of, tested, seenIn(plan, of.channel, entries))
  const proof = figures.proofs.find((each) => each.of === 'dead-man')
  return { plan, ran, entries, figures, proof }
}

const within = (figure: { value: number; uncertainty: number } | null, truth: number): void => {
  expect(figure).not.toBeNull()
  expect(Math.abs((figure?.value ?? 0) - truth)).toBeLessThanOrEqual(figure?.uncertainty ?? 0)
}
const verdict = (figures: ChannelFigures, of: string): string | undefined =>
  figures.proofs.find((proof) => proof.of === of)?.verdict

/** Everything a dialect may have, and a supply that lets its protections be tried. */
const guarded: Partial<Dialect> = {
  level_below: 'trips',
  set_over_amps: ':CURR:PROT {a}',
  ask_over_amps: ':CURR:PROT?',
  over_amps_on: ':CURR:PROT:STAT ON',
  ask_over_amps_tripped: ':CURR:PROT:TRIP?',
  ask_cc: { query: ':STAT:QUES:COND?', mask: 1, cv_mask: 2 },
  dead_man: {
    arm: [':SYST:WATC:TIME {s}', ':SYST:WATC ON'],
    feed: ':SYST:WATC:FEED',
    after_s: 3,
    per: 'supply',
    ask_armed: ':SYST:WATC?',
    ask_expired: ':SYST:WATC:EXP?',
  },
}

describe('a qualification on a bench with watched inputs', () => {
  it('watches those that can be, warns of the set’s, and is refused where a contact is out of reach', () => {
    const { plan, problems } = qualifyPlan(whole, order)
    expect(Object.keys(plan?.meters ?? {})).toEqual(['lid switch'])
    expect(plan?.rules.map(({ text }) => text).join()).toContain('lid switch trips when open')
    const told = problems.map(({ what }) => what).join()
    expect(told).toContain('reservoir meter trips in a run and is not watched here: it is clipped to the set')
    expect(told).toContain(
      'case thermometer trips in a run and is not watched here: it is read on the line of low',
    )
    const other = qualifyPlan(whole, {
      ...order,
      channel: 'low.heaters',
      top_V: 6,
      load: { ...order.load, ohm: 10 },
    })
    expect(other.plan).toBeNull()
    expect(other.problems.map(({ what }) => what).join()).toContain('nothing would switch off by it')
  })

  it('trips by a lid that opens with the load above the touch limit', () => {
    const { ran, plan } = qualified({ faults: ['input.lid switch:open@HT>200V'.replace('HT', 'dummy load')] })
    expect(ran.ending.outcome).toBe('tripped')
    expect(ran.ending.reason?.code).toBe('watched-input')
    expect(failureOf(plan, ran.ending)).toBeNull()
    expect(ran.ending.outputs_off).toBe('confirmed')
  })
})

describe('a qualification of one of two outputs', () => {
  it.each([
    ['supply', 'went off', 'goes'],
    ['output', 'stayed on', 'stays'],
  ] as const)('proves on which outputs its dead-man fires, one timer for each %s', (per, did, stated) => {
    const { plan, ran, entries, figures, proof } = withTwo(per)
    expect([ran.ending.outcome, ran.ending.reason?.text, ran.ending.outputs_off]).toEqual([
      'completed',
      undefined,
      'confirmed',
    ])
    expect(ran.ending.warnings).toEqual([])
    expect(proof).toMatchObject({ verdict: 'fired', outputs: [{ channel: 'high.aux', did, stated }] })
    expect(against(figures)).toEqual([])
    expect(qualificationText('high.out', figures)).toContain(`${did}, as stated`)
    // Nothing but a few volts on it, and every one of them told OFF and set to nothing in the end.
    expect(plan.figures.hazards.join()).toContain('high.aux at 4 V')
    const told = entries.flatMap((entry) =>
      entry.entry === 'event' && entry.event.what === 'asked' && entry.event.data.channel === 'high.aux'
        ? [entry.event.data.do]
        : [],
    )
    expect(told.filter((what) => what === 'on')).toHaveLength(1)
    expect(told.indexOf('zero')).toBeGreaterThan(told.indexOf('off'))
  })

  it('finds that a dead-man stated to take one output alone takes all: bias would hang on it', () => {
    const { ran, figures, proof } = withTwo('output', { is: 'supply' })
    expect(proof).toMatchObject({
      verdict: 'fired',
      outputs: [{ channel: 'high.aux', did: 'went off', stated: 'stays' }],
    })
    expect(against(figures).join()).toMatch(
      /dead-man: high\.aux went off, though its dialect says that the dead-man takes the one output alone/,
    )
    expect(ran.ending.warnings.join()).toMatch(
      /high\.aux went off, though the dead-man is stated to take this/,
    )
    expect([ran.ending.outcome, ran.ending.outputs_off]).toEqual(['completed', 'confirmed'])
  })

  it('finds that one stated to take all takes one alone', () => {
    const { ran, figures, proof } = withTwo('supply', { is: 'output', any: true })
    expect([ran.ending.outcome, ran.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    expect(proof).toMatchObject({ verdict: 'fired', outputs: [{ did: 'stayed on', stated: 'goes' }] })
    expect(against(figures).join()).toContain('high.aux stayed on, though its dialect says')
  })

  it('finds that it takes the wrong one: where the supply says that it fired it failed, else it did not fire', () => {
    const wrong = { is: 'output', first: 'out', any: true } as const
    const told = withTwo('supply', wrong)
    expect(told.proof).toMatchObject({ verdict: 'contradicts', outputs: [{ did: 'went off' }] })
    expect(failureOf(told.plan, told.ran.ending)).toMatchObject({ code: 'protection' })
    const silent = withTwo('supply', { ...wrong, says_nothing: true })
    expect(silent.proof).toMatchObject({ verdict: 'did not fire', outputs: [{ did: 'went off' }] })
    expect([silent.ran.ending.outcome, told.ran.ending.outputs_off, silent.ran.ending.outputs_off]).toEqual([
      'completed',
      'confirmed',
      'confirmed',
    ])
  })

  it('puts its dead-man to rest at the end, where that was not let fire: armed and unfed it would hold the outputs off', () => {
    const timer = guarded.dead_man
    if (!timer) throw new Error('no dead-man')
    const { ran, entries } = qualified({
      order: { skip: ['current limit', 'over-voltage', 'over-current', 'dead-man'] },
      says: { ...guarded, dead_man: { ...timer, disarm: [':SYST:WATC OFF'] } },
    })
    const rested = entries.filter((entry) => entry.entry === 'event' && entry.event.data.do === 'disarm')
    expect([ran.ending.outcome, ran.ending.warnings, rested.length]).toEqual(['completed', [], 1])
  })
})

describe('a qualification on the virtual bench', () => {
  const { ran, figures, entries } = qualified({ says: guarded })

  it('comes to its end with outputs confirmed off, and no warning', () => {
    expect(ran.ending.outcome).toBe('completed')
    expect(ran.ending.outputs_off).toBe('confirmed')
    expect(ran.ending.warnings).toEqual([])
  })

  it('finds the output capacitor that the supply was built with', () => {
    within(figures.output_F, 47e-6)
  })

  it('finds the steps that its read-back has, and noise that hides under them', () => {
    within(figures.resolution_V, 0.1)
    within(figures.resolution_A, 10e-6)
    expect(figures.noise_V?.value).toBeLessThan(0.1)
    expect(figures.noise_A?.value).toBeLessThan(10e-6)
  })

  it('finds no error beyond what supply and load were built with', () => {
    // Stated 0.1 % + 200 mV; the resistor was drawn within 1 %.
    expect(figures.accuracy_V?.value).toBeLessThanOrEqual(0.5 + (figures.accuracy_V?.uncertainty ?? 0))
    within(figures.accuracy_A, 0)
  })

  it('tells how far amps may be off by the volts they are computed from: those of its own read-back where no meter is read', () => {
    const own = qualified({ order: { meter: null }, says: guarded }).figures
    // At the lowest set-point the volts' fixed error weighs least in the sum; stated 0.1 % + 200 mV over 4700 ohm, and 1 % of the load.
    const least_A = order.load.tolerance * (own.levels[0]?.load_A ?? 0) + 0.2 / order.load.ohm
    expect(own.accuracy_A?.uncertainty).toBeGreaterThan(least_A)
    within(own.accuracy_A, 0)
  })

  it('finds when it stops driving: one message on the line and what the supply takes to act', () => {
    // OFF is 10 characters at 115200 baud, 0.9 ms, and the virtual supply acts 8 ms later.
    within(figures.off_s, 0.009)
  })

  it('finds that it does not take current back', () => {
    expect(figures.sinks.value).toBe(false)
  })

  it('bounds slew and settling by what its current limit lets through', () => {
    // (90.8 - 63.8) mA at the top charge 47 µF no faster than this many volts a second.
    expect(figures.slew_V_per_s?.bound).toBe('at least')
    expect(figures.slew_V_per_s?.value).toBeLessThanOrEqual(4200)
    expect(figures.settling_s?.value).toBeGreaterThan(0)
  })

  it('proves its current limit, both protections and its dead-man, and when each fired', () => {
    expect(verdict(figures, 'current limit')).toBe('as it should')
    expect(verdict(figures, 'over-voltage')).toBe('fired')
    expect(verdict(figures, 'over-current')).toBe('fired')
    expect(verdict(figures, 'dead-man')).toBe('fired')
    const after_s = figures.proofs.find(({ of }) => of === 'dead-man')?.after_s ?? 0
    expect(after_s).toBeGreaterThan(2)
    expect(after_s).toBeLessThan(4.5)
  })

  it('leaves nothing set that clearing could bring back, before it asks for it', () => {
    const events = entries.flatMap((entry) => (entry.entry === 'event' ? [entry.event] : []))
    for (const of of ['over-voltage', 'over-current']) {
      const fired = events.findIndex(({ data }) => data.proof === of && data.result === 'fired')
      const asked = events.findIndex(
        ({ what, text }) => what === 'prompt' && text.includes(`The ${of} protection fired`),
      )
      const between = events
        .slice(fired, asked)
        .flatMap(({ what, data }) => (what === 'asked' ? [data.do] : []))
      expect(between).toEqual(['off', 'zero'])
    }
  })

  it('asks a person to clear each latch, and never clears one itself', () => {
    const events = entries.flatMap((entry) => (entry.entry === 'event' ? [entry.event] : []))
    const cleared = events.filter(
      ({ what, text }) => what === 'prompt' && text.includes('Clear it at the front panel'),
    )
    expect(cleared).toHaveLength(2)
  })
})

describe('a dead-man that any message feeds', () => {
  it('is proved by saying nothing at all to the supply, and fires', () => {
    const dead_man = { ...guarded.dead_man, feed: null } as Dialect['dead_man']
    const { ran, figures } = qualified({
      order: { skip: ['current limit', 'over-voltage', 'over-current'] },
      says: { ...guarded, dead_man },
    })
    expect(verdict(figures, 'dead-man')).toBe('fired')
    expect(verdict(figures, 'over-voltage')).toBe('not proved')
    expect(ran.ending.outcome).toBe('completed')
    expect(ran.ending.outputs_off).toBe('confirmed')
  })
})

describe('a supply that is local once somebody has cleared it at its panel', () => {
  it('is told to be remote again, is proved to the end, and has its panel given back', () => {
    const { ran, figures, entries } = qualified({
      order: { skip: ['current limit', 'over-current'] },
      says: { ...guarded, remote: ':SYST:REM', local: ':SYST:LOC' },
    })
    expect([ran.ending.outcome, ran.ending.reason?.text, ran.ending.warnings]).toEqual([
      'completed',
      undefined,
      [],
    ])
    expect(verdict(figures, 'dead-man')).toBe('fired')
    const panels = entries.flatMap((entry) =>
      entry.entry === 'event' && entry.event.data.do === 'panel' ? [entry.event.data.to] : [],
    )
    expect(panels).toEqual(['computer', 'person'])
  })
})

describe('a supply that is not what its file says', () => {
  it('is found to say constant current where it holds its volts, and outputs are confirmed off', () => {
    const { ran, figures } = qualified({
      says: guarded,
      is: { ask_cc: { query: ':STAT:QUES:COND?', mask: 2, cv_mask: 1 } },
    })
    expect(verdict(figures, 'current limit')).toBe('contradicts')
    expect(ran.ending.warnings.join()).toContain('is wrong')
    expect(ran.ending.outputs_off).toBe('confirmed')
  })

  it('is found to have protections and a dead-man that do not fire', () => {
    const { ran, figures } = qualified({ says: guarded, faults: ['high:no-protection'] })
    for (const of of ['over-voltage', 'over-current', 'dead-man'])
      expect(verdict(figures, of)).toBe('did not fire')
    expect(ran.ending.outcome).toBe('completed')
    expect(ran.ending.warnings).toHaveLength(3)
    expect(ran.ending.outputs_off).toBe('confirmed')
  })

  it('is found to take no level below what stands: then the protection stays unproved', () => {
    const { ran, figures } = qualified({ says: { ...guarded, dead_man: null, level_below: 'refused' } })
    expect(verdict(figures, 'over-voltage')).toBe('refused')
    expect(verdict(figures, 'dead-man')).toBe('not proved')
    expect(ran.ending.outputs_off).toBe('confirmed')
  })

  it('is found not to go off: the run fails and says to cut its mains', () => {
    const { ran, plan } = qualified({ faults: ['high.out:ignores-off@step=9'] })
    expect(failureOf(plan, ran.ending)).toMatchObject({ code: 'wont-fall' })
    expect(ran.ending.outcome).not.toBe('completed')
    expect(ran.ending.outputs_off).toBe('not confirmed')
    expect(ran.ending.reason?.text).toContain('does not go off')
  })

  it('is found to have another load on it than was named, before it goes above 5 V', () => {
    const { plan, bench } = qualifyPlan(whole, order)
    if (plan === null || bench === null) throw new Error('no plan')
    const other = loadAsSet(bench, { ...order, load: { ...order.load, ohm: 1000 } })
    const ran = rehearse(plan, other, bench, { seed: 3, faults: [], record: () => undefined })
    expect(ran.ending.reason?.code).toBe('hook-up')
    expect(ran.ending.outputs_off).toBe('confirmed')
  })
})

describe('an order', () => {
  const wrong = (change: Partial<Order>): string =>
    qualifyPlan(whole, { ...order, ...change })
      .problems.filter(({ severity }) => severity === 'error')
      .map(({ what }) => what)
      .join(' ')

  it('asks for the bleeder that its limits reckon with to be on the terminals', () => {
    const { plan } = qualifyPlan(whole, order)
    expect(plan?.wires.map(({ text }) => text).join('\n')).toContain(
      "the bench's own bleeder of 22 kΩ stays across the terminals (8.18 W or more)",
    )
  })
  it('is refused where the load would be heated beyond its rating', () => {
    expect(wrong({ load: { ...order.load, rated_W: 20 } })).toContain('it is rated 20 W')
  })
  it('is refused beyond what the channel gives with room for its over-voltage level', () => {
    expect(wrong({ top_V: 420 })).toContain('416 V')
  })
  it('is refused where the current would be too little to measure', () => {
    expect(wrong({ load: { ohm: 1e6, tolerance: 0.01, rated_W: 1 } })).toContain('too little')
  })
  it('is refused for a channel that is not there', () => {
    expect(wrong({ channel: 'high.in' })).toContain('no channel')
  })
})
