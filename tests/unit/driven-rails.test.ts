import { describe, expect, it } from 'vitest'
import { type Equipment, readEquipment } from '../../src/equipment/index.js'
import { makePlan, openLeadMost_A, type Plan } from '../../src/plan/index.js'
import { willing } from '../../src/rehearse/index.js'
import { parseFault } from '../../src/virtual/index.js'
import { demo } from '../helpers/small-set.js'
import { rehearse } from '../helpers/replayed.js'

/** The demo's transmitter as a level-1 file would have it: rails, tubes by type, what drives what. Invented, as the demo is. */
const base = demo('tern-rock/transmit')
const figures = {
  at: '395 V',
  screen_at: '230 V',
  bias: '-95 V',
  peak: '130 V',
  plate: '65 mA',
  screen: '5 mA',
  grid: '3.5 mA',
  source: 'a test',
}
const driven = {
  in: ['key down'],
  by: 'RF',
  service: 'class C plate-modulated',
  duty: 'CCS',
  bias: 'fixed',
  drive: 'steady',
  figures,
}
const feeds = { positive_at: 'a', negative_at: 'b', lift: ['both wires of the heater winding'] }
const written = {
  slowglow: 'equipment 1',
  name: 'a transmitter by its rails',
  chassis: 'isolated',
  chassis_node: 'chassis',
  panel_controls: ['send switch', 'PA tuning'],
  modes: {
    transmit: { controls: { 'send switch': 'send' } },
    'key down': { driven: true, controls: { 'send switch': 'send' } },
  },
  rails: {
    heaters: {
      role: 'heater',
      positive: 'heater line',
      negative: 'chassis',
      working: '12.6 V',
      max: { value: '14 V', source: 'a test' },
      feeds,
      winding_connected: false,
    },
    bias: {
      role: 'bias',
      positive: 'chassis',
      negative: 'grid return',
      working: '60 V',
      max: { value: '80 V', source: 'a test' },
      feeds,
      required_bias: {
        node: 'grid return',
        at_least: '-50 V',
        nominal: '-59.4 V',
        preload: '5k',
        source: 'a test',
      },
    },
    HT: {
      role: 'HT',
      positive: 'reservoir',
      negative: 'chassis',
      working: '400 V',
      max: { value: '420 V', source: 'a test' },
      feeds: { positive_at: 'a', negative_at: 'b', fuse: '500 mA' },
      totals: {
        transmit: { at: '400 V', current: '75 mA', source: 'a test' },
        'key down': { at: '400 V', current: '145 mA', source: 'a test' },
      },
    },
  },
  rail_capacitors: { C1: { rail: 'HT', value: '16 µF', rated: '450 V' } },
  tubes: {
    V12: { type: '807', rail: 'HT', driven },
    V13: { type: '6L6GC', rail: 'HT' },
    V14: { type: '6L6GC', rail: 'HT' },
  },
  heater_chains: {
    F: { rail: 'heaters', series: ['V12', 'R1'] },
    G: { rail: 'heaters', series: ['V13', 'V14'] },
  },
  parts: { R1: { kind: 'heater resistor', value: '7 Ω' } },
}
type Raw = typeof written
const read = (change: (raw: Raw) => unknown = (raw) => raw) =>
  readEquipment(change(structuredClone(written)), () => ({ file: 'x.yaml', line: 1, column: 1 }))
const set = (change?: (raw: Raw) => unknown): Equipment => {
  const { value, problems } = read(change)
  if (value === null) throw new Error(problems.map(({ what }) => what).join('\n'))
  return value
}
const V12 = (raw: Raw, change: object): Raw => {
  Object.assign(raw.tubes.V12.driven, change)
  return raw
}
const quick = { slew_V_per_s: 20, hold_s: 3, settle_within_s: null, ceiling_A: null, rail: 'HT' }
const profile = {
  ...base.profile,
  mode: 'key down',
  stages: [
    ...base.profile.stages.filter((stage) => stage.do === 'ramp' && stage.rail !== 'HT'),
    { ...quick, do: 'ramp' as const, name: 'keyed', to_V: [250, 340, 400] },
  ],
}
const make = (equipment: Equipment) => makePlan(profile, equipment, base.bench)
const planned = (equipment: Equipment): Plan => {
  const { plan, problems } = make(equipment)
  if (plan === null) throw new Error(problems.map(({ what }) => what).join('\n'))
  return plan
}
const errors = (equipment: Equipment): string =>
  make(equipment)
    .problems.filter(({ severity }) => severity === 'error')
    .map(({ what, remedy }) => `${what} ${remedy}`)
    .join('\n')
const top = ({ steps }: Plan) => steps.findLast(({ do: what, rail }) => what === 'raise' && rail === 'HT')

describe('a driven mode of a set known by its rails', () => {
  it("expects the handbook's total of the mode, and bounds driven stages by what their service allows", () => {
    const limits = top(planned(set()))?.limits['HT']
    expect(limits?.expected_A).toBeCloseTo(0.145 + 400 / 22_000, 4)
    expect(limits?.lower_A).toBeCloseTo(0.5 * 0.145 + (0.95 * 400) / 22_000, 4)
    const alone = set((raw) => {
      Object.assign(raw.tubes.V13, { modes: ['transmit'] })
      Object.assign(raw.tubes.V14, { modes: ['transmit'] })
      raw.rails.HT.totals['key down'].current = '70 mA'
      return raw
    })
    const ceiling = top(planned(alone))?.limits['HT']?.because.find(({ limit }) => limit === 'ceiling')
    expect(ceiling?.text).toMatch(
      /at the most its ratings allow, V12 by those of class C plate-modulated, CCS/,
    )
  })

  it('lets such a stage be tuned at low HT', () => {
    const tune = base.profile.stages.filter((stage) => stage.do === 'tune')
    const stages = [...profile.stages.slice(0, -1), ...tune, ...profile.stages.slice(-1)]
    const { plan } = makePlan({ ...profile, stages }, set(), base.bench)
    const raise = plan?.steps.find(({ stage, do: what }) => /^dip/.test(stage) && what === 'raise')
    expect(raise?.limits['HT']?.ceiling_A).toBeGreaterThan(0.15)
    // 2.5 × 41 mA at 250 V is just more than the 25 W of its plate.
    expect(raise?.time_limits?.[0]?.s).toBe(10)
  })

  it('sums up the service of driven stages and the published currents of the others where no total is stated', () => {
    const bare = set((raw) => ({
      ...raw,
      rails: { ...raw.rails, HT: { ...raw.rails.HT, totals: {} } },
    }))
    const limits = top(planned(bare))?.limits['HT']
    const expected = limits?.because.find(({ limit }) => limit === 'expected')
    expect(expected?.text).toMatch(/V13, V14 at 400 V.*V12 driven, 70 mA after the handbook's 395 V, 65 mA/)
    expect(limits?.lower_A).toBeLessThan(0.31 * (limits?.expected_A ?? 0) + 0.02)
  })

  it('proves drive by what the bias supply no longer gives, before HT goes to its top', () => {
    const plan = planned(set())
    expect(top(plan)?.needs_drive).toEqual(['V12'])
    const seen = top(plan)?.drive?.[0]?.bias
    // 59.4 V over the preload of 5 kΩ and the bleeder of 33 kΩ at the supply, less 3.5 mA.
    expect(seen?.lost_A).toBeCloseTo(60 / 5000 + 60 / 33_000, 4)
    expect((seen?.lost_A ?? 0) - (seen?.with_A ?? 0)).toBeCloseTo(0.0035, 4)
  })

  it('says what it cannot judge', () => {
    const said = planned(set()).unproved.join('\n')
    expect(said).toMatch(/Plate and screen dissipation of V12 \(807\) while driven.*no circuit/)
    expect(said).not.toMatch(/when its drive is lost/)
    const held = planned(set((raw) => V12(raw, { bias: 'cathode resistor', panel: 'the grid meter' })))
    expect(held.unproved.join('\n')).toMatch(
      /drive is lost, V12 \(807\): its cathode resistor is in no circuit/,
    )
    expect(held.unproved.join('\n')).toMatch(/Loss of drive of V12 \(807\) once it was read/)
  })

  it('refuses a stage that only its drive holds, above the volts it stands without', () => {
    const said = errors(set((raw) => V12(raw, { bias: 'grid leak', panel: 'the grid meter' })))
    expect(said).toMatch(/When V12 \(807\) loses its drive .* has its bias from its drive alone.*HT \d+ V/)
  })

  it('refuses a fixed bias that no rail of the file gives, and one of several where none is named', () => {
    const said = (change: (raw: Raw) => unknown): string =>
      read(change)
        .problems.map(({ what, remedy }) => `${what}: ${remedy}`)
        .join('\n')
    const without = (raw: Raw): unknown => ({
      ...raw,
      rails: { heaters: raw.rails.heaters, HT: raw.rails.HT },
    })
    expect(said(without)).toMatch(/V12 has a fixed bias, and the file has no rail that gives it.*role: bias/)
    const two = (raw: Raw): Raw => {
      Object.assign(raw.rails, { 'bias 2': { ...raw.rails.bias, negative: 'other return' } })
      return raw
    }
    expect(said(two)).toMatch(/several rails that may give it: bias, bias 2: .*bias_rail: bias/)
    expect(said((raw) => two(V12(raw, { bias_rail: 'bias' })))).toBe('')
    expect(said((raw) => V12(raw, { bias_rail: 'HT' }))).toMatch(/HT is no bias rail/)
    expect(said((raw) => V12(raw, { bias_rail: 'bais' }))).toMatch(/there is no rail 'bais'/)
  })

  it('reckons lost drive with the screen at its rail, where an idle one rises to, unless the file says that it is held', () => {
    const low = { ...written.rails.bias.required_bias, at_least: '-20 V', nominal: '-30 V' }
    const behind = (change: object) =>
      errors(
        set((raw) => {
          Object.assign(raw.rails.bias, { required_bias: low, working: '30 V' })
          return V12(raw, change)
        }),
      )
    const bias30 = { figures: { ...figures, grid: '1 mA' } }
    expect(behind(bias30)).toMatch(/When V12 \(807\) loses its drive at .*HT 400 V.*screen: fixed/)
    expect(behind({ ...bias30, screen: 'fixed' })).not.toMatch(/loses its drive/)
  })

  it('holds plate volts and grid current against what the service allows', () => {
    const rating = { volts: '380 V', plate: '83 mA', grid: '3 mA', input: '40 W', source: 'a test' }
    const said = errors(set((raw) => V12(raw, { rating })))
    expect(said).toMatch(/V12 \(807\) plate voltage in class C plate-modulated, CCS would stand at 104 %/)
    expect(said).toMatch(/V12 \(807\) grid current in class C plate-modulated, CCS would stand at 117 %/)
  })

  it('refuses a service without rating or operation, naming what is missing', () => {
    const doubling = { service: 'class C doubling', figures: undefined }
    const said = read((raw) => V12(raw, doubling))
      .problems.map(({ what }) => what)
      .join('\n')
    expect(said).toMatch(/no rating of a 807 in class C doubling, CCS, is known/)
    // Its rail's total says what flows, so figures are not asked for on top.
    expect(said).not.toMatch(/nothing is known/)
  })

  it('refuses figures beyond the rating of the service, and a total beyond all of them', () => {
    const hot = { figures: { ...figures, plate: '95 mA' } }
    expect(errors(set((raw) => V12(raw, hot)))).toMatch(
      /V12 \(807\) plate current in class C plate-modulated, CCS would stand at 1\d\d % of its rating/,
    )
    const total = { at: '400 V', current: '450 mA', source: 'a test' }
    const beyond = set((raw) => {
      Object.assign(raw.rails.HT.totals, { 'key down': total })
      return raw
    })
    expect(errors(beyond)).toMatch(/more than the ceiling.*(name every tube that is driven|supply)/)
  })

  it('refuses a mode that says it is driven and names no tube', () => {
    const { problems } = read((raw) => V12(raw, { in: [] }))
    expect(problems.map(({ what }) => what).join('\n')).toMatch(
      /mode key down says that a stage is driven in it, and no tube says/,
    )
  })

  it('is refused where nothing shows grid current, and asks at the panel where the set has a meter of its own', () => {
    const blind = { bias: 'cathode resistor' }
    expect(errors(set((raw) => V12(raw, blind)))).toMatch(/Nothing shows whether V12.*panel: …/)
    const { steps } = planned(set((raw) => V12(raw, { ...blind, panel: 'the grid meter' })))
    const at = steps.findIndex(({ ask }) => ask?.about === 'drive V12')
    expect(steps[at]?.ask?.text).toMatch(/grid current of V12 \(807\) on the grid meter.*about 3\.5 mA/)
    expect([steps[at + 1]?.target_V, steps[at + 1]?.do]).toEqual([400, 'raise'])
  })

  it('asks at the panel each time that the key goes down, and says where a step is wanted', () => {
    const panel = set((raw) => V12(raw, { bias: 'cathode resistor', panel: 'the grid meter' }))
    const mode = (name: string) => ({ do: 'mode' as const, name, mode: name })
    const supplies = profile.stages.filter((stage) => stage.do === 'ramp' && stage.rail !== 'HT')
    const up = (to_V: number[]) => ({ ...quick, do: 'ramp' as const, name: 'up', to_V })
    const made = (...stages: (typeof profile)['stages'][number][]) =>
      makePlan({ ...profile, stages: [...supplies, ...stages] }, panel, base.bench)
    const twice = made(mode('key down'), up([250, 400]), mode('transmit'), mode('key down'))
    const steps = twice.plan?.steps ?? []
    const asked = steps.flatMap(({ ask }, at) => (ask?.about === 'drive V12' ? [at] : []))
    expect(asked.map((at) => [steps[at]?.mode, steps[at + 1]?.target_V])).toEqual([
      ['key down', 400],
      ['key down', 400],
    ])
    const bare = made(mode('transmit'), up([400]), mode('key down')).problems
    expect(bare.map(({ remedy }) => remedy).join('\n')).toMatch(
      /a step just below, for example at 340 V: put a ramp of HT with such a step behind the stage that sets key down/,
    )
  })

  it("looks at the rail of the stage: for its highest step, and for the key's time", () => {
    const two = set((raw) => {
      const { heaters, bias, HT } = raw.rails
      Object.assign(raw, {
        rails: { heaters, bias, high: { ...HT, positive: 'high', working: '410 V', totals: {} }, HT },
      })
      Object.assign(raw.tubes.V13, { rail: 'high' })
      return V12(raw, { duty: 'ICAS' })
    })
    const up = (rail: string, to_V: number[]) => ({ ...quick, rail, do: 'ramp' as const, name: rail, to_V })
    const stages = [...profile.stages.slice(0, -1), up('HT', [400]), up('high', [100, 410])]
    const said = makePlan({ ...profile, stages }, two, base.bench).problems.map(({ what }) => what)
    expect(said.join('\n')).toMatch(/V12 \(807\) shows its grid current for the first time at 400 V/)
    const below = [...profile.stages, up('high', [100, 410])]
    const { plan, problems } = makePlan({ ...profile, stages: below }, two, base.bench)
    expect(problems.filter(({ severity }) => severity === 'error')).toEqual([])
    expect(plan?.key_down?.[0]?.text).toMatch(/where HT first stands.*wait 300 s yourself/)
  })

  it('has modulators on a rail of their own after the stage they modulate, only where they work', () => {
    const totalled = (current: string) =>
      set((raw) => {
        Object.assign(raw.modes, { tone: { driven: true, controls: { 'send switch': 'send' } } })
        Object.assign(raw.rails, { speech: { ...raw.rails.HT, positive: 'speech line', totals: {} } })
        const audio = {
          in: ['tone'],
          by: 'audio',
          service: 'class AB1',
          bias: 'fixed',
          modulates: 'V12',
          figures: { at: '385 V', bias: '-45 V', plate: '30 mA', source: 'a test' },
          rating: { plate: '120 mA', source: 'a test' },
        }
        for (const tube of [raw.tubes.V13, raw.tubes.V14])
          Object.assign(tube, { rail: 'speech', driven: audio })
        Object.assign(raw.rails.HT.totals, { tone: { at: '400 V', current, source: 'a test' } })
        return V12(raw, { in: ['key down', 'tone'] })
      })
    const own = totalled('100 mA')
    const up = (rail: string, to_V: number[]) => ({ ...quick, rail, do: 'ramp' as const, name: rail, to_V })
    const supplies = profile.stages.slice(0, -1)
    const made = (mode: string, ...stages: ReturnType<typeof up>[]) => planOf(own, mode, ...stages)
    const planOf = (of: Equipment, mode: string, ...stages: ReturnType<typeof up>[]) =>
      makePlan({ ...profile, mode, stages: [...supplies, ...stages] }, of, base.bench)
    // That its key-down has no step at half its volts is said too, and is another matter.
    const said = (of: ReturnType<typeof made>) =>
      of.problems
        .flatMap(({ what }) => (what.includes('no line errors are counted') ? [] : [what]))
        .join('\n')
    const [HT, speech] = [up('HT', [250, 340, 380]), up('speech', [100, 300])]
    expect(said(made('tone', speech, HT))).toMatch(/raises speech before HT.*flashes over/)
    expect(said(made('tone', HT, speech, up('HT', [0])))).toMatch(/lowers HT before speech/)
    const right = made('tone', HT, speech)
    expect(said(right)).not.toMatch(/before/)
    const last = right.plan?.steps.findLast(({ rail }) => rail === 'speech')
    const [loaded] = last?.modulated ?? []
    const { expected_A = 0, lower_A = 0 } = last?.limits['HT'] ?? {}
    // 67 mA of the stage, of some 113 mA: known by its total alone, a healthy set may draw little more than half of that.
    expect(loaded).toMatchObject({ rail: 'HT', by: 'speech', tube: 'V12' })
    const least_A = (loaded?.least ?? 0) * expected_A
    expect(least_A).toBeLessThan(lower_A)
    expect(least_A).toBeGreaterThan(expected_A - (loaded?.own_A ?? 0))
    // Where the stage is the smaller part of such a total, its loss and a healthy set cannot be told apart.
    expect(said(planOf(totalled('200 mA'), 'tone', HT, speech))).toMatch(
      /V12 \(807\) is modulated from speech.*a healthy set may give as little as .* could not be seen there/,
    )
    const idle = made('transmit', speech, HT)
    expect(said(idle)).not.toMatch(/flashes over/)
    expect(idle.plan?.steps.every(({ needs_plate }) => needs_plate === null)).toBe(true)
  })

  it('takes the tolerance of a bleeder from the file that states it, for what an open lead may read', () => {
    const { low } = base.bench.supplies
    const bias = low?.channels['bias']
    if (low === undefined || bias === undefined) throw new Error('the demo bench has changed')
    const most_A = (stated: { bleeder_tolerance?: number }): number => {
      const channels = { ...low.channels, bias: { ...bias, bleeder_ohm: 100_000, ...stated } }
      const bench = { ...base.bench, supplies: { ...base.bench.supplies, low: { ...low, channels } } }
      const of = makePlan(profile, set(), bench).plan?.rails['bias']?.bias
      return of == null ? Number.NaN : openLeadMost_A(of, 60, 0)
    }
    expect(most_A({})).toBeCloseTo(60 / 95_000, 6)
    expect(most_A({ bleeder_tolerance: 0.2 })).toBeCloseTo(60 / 80_000, 6)
    expect(most_A({ bleeder_tolerance: 0.01 })).toBeCloseTo(60 / 99_000, 6)
  })

  it('wants a meter at the grid return where grid current hides what an open bias lead would read', () => {
    const blind = { ...base.bench, meters: {} }
    const said = (preload: string, bench = blind): string => {
      const of = set((raw) => {
        Object.assign(raw.rails.bias.required_bias, { preload })
        return V12(raw, { figures: { ...figures, grid: '4 mA' } })
      })
      return makePlan(profile, of, bench)
        .problems.map(({ what, remedy }) => `${what} ${remedy}`)
        .join('\n')
    }
    expect(said('8.2k')).toMatch(
      /bias may give as little as .* lost bias would not be told from drive.*Clip a voltmeter/,
    )
    expect(said('8.2k', base.bench)).not.toMatch(/lost bias/)
    expect(said('4k')).not.toMatch(/lost bias/)
  })

  it('wants the resistor at which a bench meter shows grid current', () => {
    const shows = { node: 'PA grid', against: 'grid return' }
    const { problems } = read((raw) => V12(raw, { shows }))
    expect(problems.map(({ remedy }) => remedy).join('\n')).toMatch(/resistor: 100 Ω/)
  })

  it('takes a chart of the mode for what it names, with the service’s rating above it', () => {
    const charted = set((raw) => ({
      ...raw,
      charts: {
        source: 'a test',
        ohms_per_volt: '20 kΩ',
        voltages: [
          { node: 'V12 cathode', mode: 'key down', volts: '0.7 V', through: { ohm: '10 Ω' } },
          { node: 'V13 cathode', mode: 'key down', volts: '0.35 V', through: { ohm: '10 Ω' } },
          { node: 'V14 cathode', mode: 'key down', volts: '0.35 V', through: { ohm: '10 Ω' } },
        ],
      },
    }))
    const limits = top(planned(charted))?.limits['HT']
    expect(limits?.expected_A).toBeCloseTo(0.14 + 400 / 22_000, 3)
  })
})

describe('such a set keyed on the virtual bench', () => {
  const run = (equipment: Equipment, ...faults: string[]) =>
    rehearse(planned(equipment), equipment, base.bench, {
      seed: 1953,
      operator: willing,
      record: () => undefined,
      faults: faults.map((text) => {
        const fault = parseFault(text)
        if (!fault.ok) throw new Error(fault.problem)
        return fault.value
      }),
    }).ending

  it('goes through where it is healthy, and trips when drive is lost', () => {
    const well = run(set())
    expect([well.outcome, well.outputs_off, well.reason?.text]).toEqual(['completed', 'confirmed', undefined])
    const lost = run(set(), 'V12:no-drive@HT>399V')
    expect([lost.outcome, lost.outputs_off, lost.reason?.code]).toEqual([
      'tripped',
      'confirmed',
      'drive-lost',
    ])
  }, 60_000)

  it('reads the panel before the top, and goes no higher on a stage without drive', () => {
    const panel = set((raw) => V12(raw, { bias: 'cathode resistor', panel: 'the grid meter' }))
    expect(run(panel).outcome).toBe('completed')
    const lost = run(panel, 'V12:no-drive')
    expect([lost.outcome, lost.outputs_off, lost.reason?.code]).toEqual([
      'tripped',
      'confirmed',
      'drive-lost',
    ])
  }, 60_000)
})
