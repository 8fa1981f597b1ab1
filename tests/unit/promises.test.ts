import { describe, expect, it } from 'vitest'
import { createLimits, type RailLimits } from '../../src/limits/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import { rehearse } from '../../src/rehearse/index.js'
import { parseFault } from '../../src/virtual/index.js'
import { demo, planned, type Parts, ramp, refusal, withChannel, withRail } from '../helpers/small-set.js'

/** What a plan promises must be so: no limit is said to guard what it cannot, no healthy set is planned to be stopped. */

const receive = demo('tern-rock/receive')
const transmit = demo('tern-rock/transmit')
const small = demo('small-receiver/receive')
const plans = { receive: planned(receive), transmit: planned(transmit), small: planned(small) }

const limitsOf = (plan: Plan, rail: string): RailLimits[] =>
  plan.steps.flatMap((step) => (step.do === 'raise' && step.rail === rail ? (step.limits[rail] ?? []) : []))
const because = (limits: RailLimits | undefined, limit: string): string =>
  limits?.because.find((reason) => reason.limit === limit)?.text ?? ''
const said = ({ profile, equipment, bench }: Parts, severity: 'error' | 'warning'): string =>
  makePlan(profile, equipment, bench)
    .problems.filter((problem) => problem.severity === severity)
    .map(({ what, remedy }) => `${what} ${remedy}`)
    .join('\n')

describe('a shorted bypass capacitor', () => {
  it('that burns its feed resistor inside the trip is named, with what burns and what the meter then reads', () => {
    const words = plans.receive.unproved.filter((line) => line.startsWith('Not guarded by the current'))
    expect(words.join('\n')).toMatch(
      /R33 power at 7\d\d % of its rating \(1 W\) if C18 shorts\. At 250 V it then reads \d+ mA \(trip \d+ mA\)/,
    )
    expect(words.join('\n')).toMatch(/R4 power at 1\d\d % of its rating \(1 W\) if C10 shorts/)
    expect(plans.transmit.unproved.join('\n')).toMatch(/R44 power .* if C20 shorts/)
  })

  it('is no fault that a ceiling claims to see: the resistor it burns sets none', () => {
    for (const limits of limitsOf(plans.receive, 'HT')) {
      expect(because(limits, 'ceiling')).not.toMatch(/R33|R11|R4 |R8 |R16/)
    }
  })

  it('on the virtual bench does what the plan says of it: the run goes on inside its trips', () => {
    const fault = parseFault('C18:short@HT>70V')
    if (!fault.ok) throw new Error('no fault')
    const { equipment, bench } = receive
    let R33_W = 0
    const { ending } = rehearse(plans.receive, equipment, bench, {
      seed: 3,
      faults: [fault.value],
      record: () => undefined,
      watch: (_, world) => {
        const V = world.probe('receiver HT', 'v8 screen', 10e6)
        R33_W = Math.max(R33_W, (V * V) / 8200)
        return undefined
      },
    })
    expect(ending.outcome).toBe('completed')
    expect(R33_W).toBeGreaterThan(5)
  })
})

describe('ceilings', () => {
  it('name no part that the volts of the step cannot bring to its rating', () => {
    // 6.8 kΩ of 1 W needs 82 V across it, 10 kΩ of 1 W 100 V.
    for (const plan of [plans.receive, plans.transmit])
      for (const limits of limitsOf(plan, 'HT')) {
        const named = /^ceiling [^:]+: (R\d+) power/.exec(because(limits, 'ceiling'))?.[1]
        const part = named === undefined ? undefined : receive.equipment.parts[named]
        if (part?.kind !== 'resistor' || part.rated_W === null) continue
        expect(Math.sqrt(part.rated_W * part.ohm)).toBeLessThanOrEqual(limits.at_V)
      }
  })

  it('never fall as the volts rise, at any level', () => {
    for (const plan of Object.values(plans))
      for (const rail of Object.keys(plan.rails)) {
        const rising = limitsOf(plan, rail)
        for (const [at, limits] of rising.entries())
          expect(limits.ceiling_A).toBeGreaterThanOrEqual(rising[at - 1]?.ceiling_A ?? 0)
        for (const { trip_A, ceiling_A } of rising) expect(trip_A).toBeLessThanOrEqual(ceiling_A)
      }
  })
})

describe('a set known by its rails', () => {
  const at = (totals: Parts['equipment']['rails'][string]['totals'], V: number): RailLimits => {
    const desk = createLimits(withRail(small.equipment, 'HT', { totals }), small.bench)
    const limits = desk.at('receive', { HT: V }, null, {}, 'hot').limits['HT']
    if (limits === undefined) throw new Error('no limits')
    return limits
  }
  const total = { receive: { at_V: 250, current_A: 0.075, source: 'handbook' } }

  it('is expected to draw much the same by its types as by its handbook, at its own volts and below', () => {
    for (const V of [60, 100, 150, 250]) {
      const ratio = at({}, V).expected_A / at(total, V).expected_A
      expect(ratio).toBeGreaterThan(0.7)
      expect(ratio).toBeLessThan(1.4)
    }
  })

  it('has a band below its own volts that holds both a resistor and the 3/2 law', () => {
    const bleeder_A = 100 / 22_000
    const { lower_A, upper_A, trip_A } = at(total, 100)
    expect(lower_A).toBeLessThan(0.075 * Math.sqrt(0.4 * 0.4 * 0.4) + bleeder_A)
    expect(upper_A).toBeGreaterThan(0.075 * 0.4 + bleeder_A)
    expect(trip_A).toBeGreaterThan(upper_A)
  })

  it('holds within it what a solved circuit draws below its working volts', () => {
    // The demo's receiver solved at 250 V, told as a handbook's total, and then at every lower step.
    const HT = limitsOf(plans.receive, 'HT')
    const top = HT.at(-1)
    if (top === undefined) throw new Error('no HT')
    const bleeder_A = (V: number): number => V / 22_000
    const rail = {
      totals: { receive: { at_V: 250, current_A: top.expected_A - bleeder_A(250), source: 'solved' } },
    }
    const desk = createLimits(withRail(small.equipment, 'HT', rail), small.bench)
    for (const { at_V, expected_A } of HT) {
      const told = desk.at('receive', { HT: at_V }, null, {}, 'hot').limits['HT']
      expect(expected_A).toBeGreaterThan(told?.lower_A ?? Infinity)
      expect(expected_A).toBeLessThan(told?.upper_A ?? 0)
    }
  })
})

describe('a plan that would stop a healthy set is refused', () => {
  it('with a ceiling of the profile below what should flow or below the band, and told what to do', () => {
    const profile = { ...receive.profile, stages: [{ ...ramp('HT', [250]), ceiling_A: 0.09 } as never] }
    expect(refusal({ ...receive, profile })).toMatch(
      /HT should draw 101 mA at 250 V .* more than the ceiling of 90 mA: set by the profile .* Raise the ceiling/s,
    )
    const near = { ...receive.profile, stages: [{ ...ramp('HT', [250]), ceiling_A: 0.102 } as never] }
    expect(refusal({ ...receive, profile: near })).toMatch(/A healthy set may draw 10\d mA from HT at 250 V/)
  })

  it('with a trip stated by hand that is too low, a small supply, or a small fuse', () => {
    const manual = { trip_A: 0.08, reason: 'as my friend does' }
    expect(refusal({ ...receive, equipment: withRail(receive.equipment, 'HT', { manual }) })).toMatch(
      /the trip of 80 mA stated by hand/,
    )
    const bench = withChannel(receive.bench, 'high', 'out', { max_A: 0.09 })
    expect(refusal({ ...receive, bench })).toMatch(
      /the most its supply can give .* Use a supply that gives more/s,
    )
    const feeds = { ...receive.equipment.rails['HT']!.feeds, fuse_A: 0.063 }
    expect(refusal({ ...receive, equipment: withRail(receive.equipment, 'HT', { feeds }) })).toMatch(
      /the lead fuse of 63 mA .* Fit a larger fuse/s,
    )
  })

  it('with a handbook total beyond the ratings of its tubes: output power is no loss in a plate', () => {
    const totals = { receive: { at_V: 250, current_A: 0.3, source: 'handbook, key down' } }
    const bench = withChannel(small.bench, 'high', 'out', { max_A: 1 })
    expect(refusal({ ...small, bench, equipment: withRail(small.equipment, 'HT', { totals }) })).toMatch(
      /handbook total of 300 mA .* more than the ceiling of \d+ mA: every tube .* holds output power, which no plate loses: state the total at rest/s,
    )
  })

  it('but a band that is only a bound above a small supply is said, not refused', () => {
    const bench = withChannel(small.bench, 'high', 'out', { max_A: 0.1 })
    expect(said({ ...small, bench }, 'error')).toBe('')
    expect(said({ ...small, bench }, 'warning')).toMatch(
      /A healthy set may draw 1\d\d mA .* The run would stop such a set/,
    )
  })
})
