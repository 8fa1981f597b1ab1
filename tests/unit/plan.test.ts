import { describe, expect, it } from 'vitest'
import {
  type Plan,
  makePlan,
  offPlanOf,
  planText,
  ruleCodes,
  standardRules,
  looserRules,
} from '../../src/plan/index.js'
import { planJson } from '../../src/cli/commands/plan.js'
import { planFiles } from '../../src/cli/plan-files.js'
import { planPage } from '../../src/cli/plan-text.js'
import { demo, planned, ramp, refusal, withChannel, withRail } from '../helpers/small-set.js'

const receive = demo('tern-rock/receive')
const transmit = demo('tern-rock/transmit')
const reform = demo('tern-rock/reform-in-place')
const small = demo('small-receiver/receive')
const plans = {
  receive: planned(receive),
  transmit: planned(transmit),
  reform: planned(reform),
  small: planned(small),
}
const all = Object.values(plans)

const raises = (plan: Plan, rail: string): Plan['steps'][number][] =>
  plan.steps.filter((step) => step.do === 'raise' && step.rail === rail)

describe('a plan', () => {
  it('proves the hook-up of every rail it uses before anything is raised', () => {
    for (const plan of all) {
      const first = plan.steps.findIndex((step) => step.do === 'raise')
      const proved = new Set(plan.steps.slice(0, first).map((step) => step.hookup?.rail))
      for (const step of plan.steps) if (step.do === 'raise') expect(proved).toContain(step.rail)
      for (const step of plan.steps) {
        if (step.hookup !== null) {
          expect(step.hookup.test_V).toBeLessThanOrEqual(5)
          expect(step.hookup.ohm_low).toBeLessThan(step.hookup.ohm_high)
          expect(step.hookup.because.length).toBeGreaterThan(20)
        }
      }
    }
  })

  it('has the meter of a typed bias clipped on before anything is on, and says that it stays', () => {
    const first = (plan: Plan): string =>
      plan.hookup.find(({ rail }) => rail === 'bias')?.first.join('; ') ?? ''
    expect(first(plans.receive)).not.toContain('voltmeter')
    const meters = Object.entries(receive.bench.meters).filter(([, { line }]) => line === null)
    const typed = planned({ ...receive, bench: { ...receive.bench, meters: Object.fromEntries(meters) } })
    expect(first(typed)).toMatch(
      /voltmeter clipped from grid return to chassis.*before anything is on: it stays/,
    )
  })

  it('limits a hook-up test of HT or bias to 5 mA, and judges heaters by volts over amps', () => {
    for (const plan of all) {
      for (const { hookup } of plan.steps) {
        if (hookup?.method !== 'low volts') continue
        const role = plan.rails[hookup.rail]?.role
        if (role === 'heater') expect(hookup.may_limit).toBe(true)
        else expect(hookup.limit_A).toBeLessThanOrEqual(0.005)
        const least_A = hookup.test_V / hookup.ohm_high
        const resolution = plan.rails[hookup.rail]?.channels[0]?.resolution_A ?? 1
        expect(least_A).toBeGreaterThanOrEqual(5 * resolution * 0.9)
      }
    }
  })

  it('uses the ohmmeter where the ammeter cannot see the current, and says how long the reading climbs', () => {
    const coarse = { resolution_A: 0.0001, accuracy_A: { of_reading: 0.002, plus: 0.0002 } }
    const bench = withChannel(receive.bench, 'high', 'out', coarse)
    const test = planned({ ...receive, bench }).steps.find((step) => step.hookup?.rail === 'HT')?.hookup
    expect(test?.method).toBe('ohmmeter')
    // The bench's 22 kΩ beside the set's 47 kΩ: 15 kΩ.
    expect(test?.ohm_low).toBeLessThan(15e3)
    expect(test?.ohm_high).toBeGreaterThan(15e3)
    expect(test?.because).toMatch(/wait about \d+ s/)
  })

  it('puts heaters before bias and bias before HT, and says so to the sequencer', () => {
    const order = plans.receive.steps.filter((step) => step.do === 'raise').map((step) => step.rail)
    expect(order.indexOf('heaters')).toBeLessThan(order.indexOf('bias'))
    expect(order.indexOf('bias')).toBeLessThan(order.indexOf('HT'))
    for (const step of raises(plans.receive, 'HT')) {
      expect(step.needs_heaters).toBe(true)
      expect(step.needs_bias).toBe(true)
    }
  })

  it('keeps every set-point below the ceilings of set, profile, supply and leads', () => {
    for (const [name, plan] of Object.entries(plans)) {
      const profile = { receive, transmit, reform, small }[name]?.profile
      for (const step of plan.steps) {
        if (step.rail === null) continue
        const rail = plan.rails[step.rail]
        expect(step.target_V).toBeLessThanOrEqual(rail?.max_V ?? 0)
        expect(step.target_V).toBeLessThanOrEqual(600)
        expect(step.target_V).toBeLessThanOrEqual(profile?.ceiling_V[step.rail] ?? Infinity)
        const supply_V = (rail?.channels ?? []).reduce((sum, channel) => sum + channel.max_V, 0)
        if (rail?.class === 'programmed') expect(step.target_V).toBeLessThanOrEqual(supply_V)
      }
    }
  })

  it('says of a ceiling from a rating that was recalled: unverified, check your manual; on the page and as data', () => {
    const { plan } = planFiles('profiles/tern-rock/transmit.yaml', undefined, process.cwd())
    if (plan === null) throw new Error('no plan')
    const last = plan.steps.findLast((step) => step.mode === 'transmit' && step.rail === 'HT')?.limits['HT']
    const ceiling = last?.because.find((reason) => reason.limit === 'ceiling')
    expect(ceiling?.text).toMatch(/^ceiling .*807.* plate dissipation, .*; unverified, check your manual$/)
    expect(ceiling).toMatchObject({
      unverified: true,
      source: expect.stringMatching(/from memory/) as string,
    })
    const page = planPage(plan).replaceAll(/\s+/g, ' ')
    expect(page).toMatch(
      /ceiling 190 mA: V12 \(807\) plate dissipation, [^[]*; unverified, check your manual \[/,
    )
    const json = JSON.parse(JSON.stringify(planJson(plan, []))) as {
      steps: { because: { limit: string; unverified?: boolean; source: string }[] }[]
    }
    const told = json.steps.flatMap(({ because }) => because.filter(({ limit }) => limit === 'ceiling'))
    expect(told.some(({ unverified }) => unverified === true)).toBe(true)
    for (const { source, unverified } of told)
      expect(unverified === true).toBe(/from memory|unverified/.test(source))
  })

  it('names limits for every rail that stands in a step, each with a reason and its source', () => {
    for (const plan of all) {
      const standing = new Set<string>()
      for (const step of plan.steps) {
        if (step.do === 'raise' && step.rail !== null) standing.add(step.rail)
        // Until it is down a lowered rail is held to what it came from.
        if (step.do === 'lower' && step.rail !== null && step.target_V === 0) standing.delete(step.rail)
        for (const rail of standing) expect(Object.keys(step.limits)).toContain(rail)
        for (const limits of Object.values(step.limits)) {
          for (const reason of limits.because) {
            expect(reason.text).not.toBe('')
            expect(reason.source).not.toBe('')
          }
          if (step.do === 'raise') {
            const said = new Set(limits.because.map((reason) => reason.limit))
            for (const limit of [
              'expected',
              'band',
              'ask',
              'trip',
              'ceiling',
              'supply limit',
              'over-voltage',
            ])
              expect(said).toContain(limit)
          }
        }
      }
    }
  })

  it('asks for hands clear at the first raise above 60 V and after every question', () => {
    for (const plan of all) {
      let handsIn = true
      for (const step of plan.steps) {
        if (step.do === 'ask') handsIn = true
        if (step.do !== 'raise' || step.target_V <= 60) continue
        if (handsIn) expect(step.hands_clear).toBe(true)
        handsIn = false
      }
    }
  })

  it('carries all rules with their codes, in order, then each limit of a watched input with its reason', () => {
    for (const plan of all) {
      expect(plan.rules.slice(0, ruleCodes.length).map((rule) => rule.code)).toEqual([...ruleCodes])
      const more = plan.rules.slice(ruleCodes.length)
      for (const rule of more) {
        expect(rule.code).toBe('watched-input')
        expect(rule.source.length).toBeGreaterThan(10)
      }
    }
    expect(plans.receive.rules.length - ruleCodes.length).toBe(4)
  })

  it('says the same text for the same files, and another for another plan', () => {
    expect(planText(planned(receive))).toBe(planText(plans.receive))
    expect(planText(plans.transmit)).not.toBe(planText(plans.receive))
    expect(JSON.parse(JSON.stringify(plans.receive))).toEqual(plans.receive)
    expect(planText({ ...plans.receive, hash: 'other' })).toBe(planText(plans.receive))
  })

  it('fills in a bare profile: hook-up, heaters with a soft start, controls, HT in steps with holds, each with its reason', () => {
    const { steps } = plans.small
    expect(steps.map((step) => step.do)).toEqual([
      'hook-up check',
      'hook-up check',
      'raise',
      'ask',
      'raise',
      'raise',
      'raise',
      'raise',
      'raise',
      'raise',
    ])
    expect(steps.every((step) => step.stage.includes('filled in'))).toBe(true)
    const heaters = steps.find((step) => step.rail === 'heaters' && step.do === 'raise')
    expect(heaters?.soft_start_s).toBeGreaterThan(60)
    expect(heaters?.hold_s).toBeGreaterThanOrEqual(10)
    const last = steps[steps.length - 1]
    expect(last?.target_V).toBe(250)
    expect(last?.limits['HT']?.because.some((reason) => reason.limit === 'slew')).toBe(true)
    expect(last?.limits['HT']?.because.some((reason) => reason.limit === 'hold')).toBe(true)
  })

  it('puts in heaters and bias that the profile forgot before HT', () => {
    const stages = receive.profile.stages.filter((stage) => stage.do !== 'ramp' || stage.rail === 'HT')
    const order = planned({ ...receive, profile: { ...receive.profile, stages } })
      .steps.filter((step) => step.do === 'raise')
      .map((step) => step.rail)
    expect(order.slice(0, 3)).toEqual(['heaters', 'bias', 'HT'])
  })

  it('goes as far as the bench can and lists the rest as unproved', () => {
    const bench = withChannel(receive.bench, 'high', 'out', { max_V: 160 })
    const plan = planned({ ...receive, bench })
    expect(raises(plan, 'HT').map((step) => step.target_V)).toEqual([30, 60, 100, 150, 160])
    expect(plan.unproved.some((each) => each.includes('HT from 160 V to 250 V'))).toBe(true)
  })

  it('writes OFF between two terminators, HT first and bias last', () => {
    const { off } = plans.receive
    expect(off.channels.map((channel) => channel.role)).toEqual(['HT', 'heater', 'bias'])
    for (const { off_text } of off.channels) expect(off_text).toMatch(/^\n.*OUTP OFF\n$/)
    expect(off.channels[1]?.off_text).toContain(':INST:NSEL 1;')
    expect(off.bias_release.cathodes_cold_s).toBe(300)
    expect(off.bias_release.discharge_s).toBeGreaterThan(1)
    // A fuse stands in the lead, so the supply's terminals do not speak for the plates.
    expect(off.bias_release.only_wire_between).toBe(false)
  })

  it('has an off plan for a bench alone, with no set file', () => {
    const off = offPlanOf(receive.bench)
    expect(off.channels.map((channel) => channel.channel)).toEqual(['high.out', 'low.heaters', 'low.bias'])
    expect(off.bias_release).toEqual({
      below_V: 60,
      discharge_s: null,
      cathodes_cold_s: 300,
      only_wire_between: false,
    })
    expect(off.channels[0]?.expected_fall).toEqual({ ohm: 22_000, F: 47e-6 })
  })

  it('keeps tubes cold in a reform and wants neither heaters nor bias for it', () => {
    for (const step of raises(plans.reform, 'HT')) {
      expect(step.needs_heaters).toBe(false)
      expect(step.needs_bias).toBe(false)
    }
    expect(plans.reform.heaters).toEqual([])
    expect(plans.reform.unproved.some((each) => each.includes('leakage is not judged'))).toBe(true)
  })

  it('gives the watched meter at the grid return and the preload to the bias rail', () => {
    const bias = plans.receive.rails['bias']?.bias
    expect(bias).toMatchObject({ node: 'grid return', sign: -1, at_least_V: 50, meter: 'grid return meter' })
    expect(bias?.preload_A).toBeCloseTo(0.00594, 4)
  })

  it('computes joules and hazards for the cautions', () => {
    expect(plans.transmit.figures.highest_V).toBe(400)
    // Can of 3 × 16 µF less what is not on the line, 8 + 8 µF and the supply's own 47 µF at 400 V.
    expect(plans.transmit.figures.stored_J).toBeGreaterThan(6)
    expect(plans.transmit.figures.stored_J).toBeLessThan(10)
    expect(plans.receive.figures.hazards).toContain('PCB oil')
  })
})

describe('questions in a plan', () => {
  const withStages = (extra: Parameters<typeof ramp>[1], stages: typeof receive.profile.stages): Plan =>
    planned({
      ...receive,
      profile: {
        ...receive.profile,
        stages: [...receive.profile.stages.slice(0, 4), ramp('HT', extra), ...stages],
      },
    })

  it('bring HT down for a reading inside the set, return by the same steps without holds, and take it down again', () => {
    const plan = withStages(
      [100, 150],
      [
        {
          do: 'ask',
          name: 'cathode of V8',
          text: 'Read the cathode of V8.',
          inside: true,
          timeout_s: null,
          reading: { node: 'v8 cathode', unit: 'V', low: null, high: null },
        },
      ],
    )
    const from = plan.steps.findIndex((step) => step.do === 'lower')
    expect(plan.steps.slice(from).map((step) => [step.do, step.target_V, step.ask?.inside ?? null])).toEqual([
      ['lower', 0, null],
      ['ask', 0, true],
      ['raise', 100, null],
      ['raise', 150, null],
      ['ask', 0, false],
      ['lower', 0, null],
      ['ask', 0, true],
      ['raise', 100, null],
      ['raise', 150, null],
    ])
    const again = plan.steps[from + 2]
    expect(again?.hold_s).toBe(0)
    expect(again?.hands_clear).toBe(true)
    const wants = plan.steps[from + 4]?.ask?.wants
    // Computed from the circuit: a few volts of cathode bias.
    expect(wants?.kind === 'reading' && wants.low > 1 && wants.high < 20 && wants.low < wants.high).toBe(true)
  })

  it('bring HT down before the mode changes and prove the new mode from its first target', () => {
    const plan = withStages([100], [{ do: 'mode', name: 'to transmit', mode: 'transmit' }])
    const from = plan.steps.findIndex((step) => step.do === 'lower')
    const then = plan.steps.slice(from)
    expect(then.map((step) => step.do)).toEqual(['lower', 'ask', 'raise'])
    expect(then[2]).toMatchObject({ mode: 'transmit', target_V: 100 })
    expect(then[1]?.ask?.text).toContain('send switch to send')
    // The crystal socket is not among the panel's controls.
    expect(then[1]?.ask?.inside).toBe(true)
  })

  it('never ask for hands inside while a rail above 60 V stands', () => {
    for (const plan of all) {
      const volts: Record<string, number> = {}
      for (const step of plan.steps) {
        if (step.rail !== null && (step.do === 'raise' || step.do === 'lower'))
          volts[step.rail] = step.target_V
        if (step.ask?.inside === true) expect(Math.max(0, ...Object.values(volts))).toBeLessThanOrEqual(60)
      }
    }
  })
})

describe('a plan is refused', () => {
  const profile = (change: Partial<typeof receive.profile>): typeof receive.profile => ({
    ...receive.profile,
    ...change,
  })

  it('for a target above the ceiling of the profile or of the set', () => {
    expect(refusal({ ...receive, profile: profile({ stages: [ramp('HT', [300])] }) })).toMatch(
      /ceiling of 250 V/,
    )
    expect(refusal({ ...receive, profile: profile({ stages: [ramp('HT', [500])], ceiling_V: {} }) })).toMatch(
      /set allows 420 V/,
    )
  })

  it('where the bench cannot resolve the current', () => {
    const bench = withChannel(receive.bench, 'high', 'out', { resolution_A: 0.05 })
    expect(refusal({ ...receive, bench })).toMatch(/cannot resolve the current of HT/)
  })

  it('where a rail above 60 V has no discharge path at the supply, and computes the bleeder', () => {
    const bench = withChannel(receive.bench, 'high', 'out', { bleeder_ohm: null })
    expect(refusal({ ...receive, bench })).toMatch(/no discharge path.*bleeder.*kΩ or less/s)
  })

  it('where the set needs bias and the file does not say how much, or nothing would show its loss', () => {
    const { required_bias, ...rail } = receive.equipment.rails['bias']!
    expect(required_bias).toBeDefined()
    const equipment = { ...receive.equipment, rails: { ...receive.equipment.rails, bias: rail } }
    expect(refusal({ ...receive, equipment })).toMatch(/required_bias/)
    const { R61, ...parts } = receive.equipment.parts
    expect(R61).toBeDefined()
    expect(
      refusal({
        ...receive,
        equipment: { ...receive.equipment, parts },
        bench: { ...receive.bench, meters: {} },
      }),
    ).toMatch(/no meter on a line there and no preload/)
  })

  it('for a rail of which nothing says what it should draw', () => {
    const equipment = withRail({ ...small.equipment, tubes: {}, heater_chains: {} }, 'HT', { totals: {} })
    const bench = withChannel(small.bench, 'high', 'out', { bleeder_ohm: null })
    expect(refusal({ ...small, equipment, bench })).toMatch(
      /Nothing in the set file says what HT should draw/,
    )
  })

  it('for an unknown rail, an unknown mode, and a profile that raises nothing', () => {
    expect(refusal({ ...receive, profile: profile({ stages: [ramp('screen', [100])] }) })).toMatch(
      /rail screen.*does not have/,
    )
    expect(refusal({ ...receive, profile: profile({ mode: 'tune' }) })).toMatch(/no mode tune/)
    expect(
      refusal({
        ...receive,
        profile: profile({ tubes_cold: true, stages: [{ do: 'hold', name: 'wait', for_s: 5 }] }),
      }),
    ).toMatch(/Nothing in this profile raises a rail/)
  })

  it('for a type without data in a heater chain', () => {
    const V1 = { ...small.equipment.tubes['V1']!, type: 'no such type' }
    const equipment = { ...small.equipment, tubes: { ...small.equipment.tubes, V1 } }
    expect(refusal({ ...small, equipment })).toMatch(/V1 \(no such type\): no heater data/)
  })

  it('for a part that nominal currents would already put beyond its rating', () => {
    const R33 = { ...receive.equipment.parts['R33']!, rated_W: 0.05 }
    const parts = { ...receive.equipment.parts, R33 } as typeof receive.equipment.parts
    expect(refusal({ ...receive, equipment: { ...receive.equipment, parts } })).toMatch(
      /R33 power would stand at \d+ % of its rating/,
    )
  })

  it('for a driven stage that only its drive holds back, naming the volts it stands without', () => {
    const V12 = transmit.equipment.tubes['V12']!
    const R59 = { ...transmit.equipment.parts['R59']!, between: ['PA grid meter', 'chassis'] }
    const equipment = {
      ...transmit.equipment,
      tubes: { ...transmit.equipment.tubes, V12 },
      parts: { ...transmit.equipment.parts, R59 } as typeof transmit.equipment.parts,
    }
    expect(refusal({ ...transmit, equipment })).toMatch(
      /When V12 \(807\) loses its drive at .*HT .*, it draws \d+ mA: .* Without a guard it stands no more than HT \d+ V/,
    )
  })
})

describe('trip rules', () => {
  it('start from written values, which a profile may tighten and never loosen', () => {
    const rules = {
      'off-set-point': { trip: 0.01 },
      'slow-rise': { trip: 0.2 },
      'late-tick': { trip: 9 },
      nonsense: { trip: 1 },
    }
    const profile = { ...receive.profile, rules }
    const inForce = new Map(standardRules(receive.bench, profile).map((rule) => [rule.code, rule]))
    expect(inForce.get('off-set-point')).toMatchObject({ trip: 0.01, source: 'tightened by the profile' })
    expect(inForce.get('slow-rise')?.trip).toBe(0.5)
    expect(inForce.get('late-tick')?.trip).toBe(0.5)
    const said = looserRules(receive.bench, profile).map(({ what }) => what)
    expect(said).toHaveLength(3)
    const { plan, problems } = makePlan(profile, receive.equipment, receive.bench)
    expect(plan).not.toBeNull()
    expect(problems.filter(({ severity }) => severity === 'warning').length).toBeGreaterThanOrEqual(3)
  })

  it('take stale and late-tick limits from a bench that states them', () => {
    const bench = { ...receive.bench, stale_s: 0.4, late_tick_s: 0.3 }
    const inForce = new Map(standardRules(bench, receive.profile).map((rule) => [rule.code, rule]))
    expect(inForce.get('stale')).toMatchObject({ trip: 0.4, source: 'the bench file' })
    expect(inForce.get('late-tick')).toMatchObject({ trip: 0.3, warn: 0.25 })
  })

  it('let the readings of a rail be as old as its own supply needs, not as the slowest of the bench', () => {
    const [slow = '', ...others] = Object.keys(receive.bench.supplies)
    const supply = receive.bench.supplies[slow]
    if (supply === undefined || others.length === 0) throw new Error('one supply only')
    const dialect = { ...supply.dialect, slow_s: { measure_amps: 10 } }
    const supplies = { ...receive.bench.supplies, [slow]: { ...supply, dialect } }
    const { plan } = makePlan(receive.profile, receive.equipment, { ...receive.bench, supplies })
    if (plan === null) throw new Error('no plan')
    expect(plan.stale_s).toBeGreaterThan(15)
    for (const { channels, stale_s } of Object.values(plan.rails))
      for (const { port } of channels) expect(stale_s).toBe(port === slow ? plan.stale_s : 1)
    for (const { port, stale_s } of plan.off.channels) expect(stale_s).toBe(port === slow ? plan.stale_s : 1)
    const sooner = plan.rules.find(({ code }) => code === 'stale')?.source
    expect(sooner).toMatch(/by their own supplies sooner: .* 1 s/)
  })
})
