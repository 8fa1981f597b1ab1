import { resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Bench } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { coverageOf, createDiagnoser } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { type Ask, makePlan, type Plan } from '../../src/plan/index.js'
import { rectifierPulled } from '../../src/plan/own-mains-charge.js'
import type { Profile } from '../../src/profile/index.js'
import { demo } from '../helpers/small-set.js'
import { type Operator, willing } from '../../src/rehearse/index.js'
import { initialState } from '../../src/sequencer/initial.js'
import { storedCharge } from '../../src/story/index.js'
import { readFault } from '../../src/virtual/index.js'
import { rehearse } from '../helpers/replayed.js'

/* The set's own transformer and rectifier, as plan and as a run on the virtual bench. */

const rock = resolve(import.meta.dirname, '../../profiles/tern-rock')
function load(name: string): { profile: Profile; equipment: Equipment; bench: Bench } {
  const { value } = loadAll(resolve(rock, name), undefined)
  if (value?.bench == null) throw new Error(`${name} is sound`)
  return { profile: value.profile, equipment: value.equipment, bench: value.bench }
}
const joined = load('own-mains.yaml')
const alone = load('own-transformer.yaml')
function planned({ profile, equipment, bench }: typeof joined): Plan {
  const { plan, problems } = makePlan(profile, equipment, bench)
  if (plan === null) throw new Error(JSON.stringify(problems))
  return plan
}
const plan = planned(joined)
const refusedFor = (of: Partial<typeof joined>): string =>
  makePlan(
    ...([of.profile ?? joined.profile, of.equipment ?? joined.equipment, of.bench ?? joined.bench] as const),
  )
    .problems.filter(({ severity }) => severity === 'error')
    .map(({ what }) => what)
    .join(' ')

describe('the plan of a set on its own pack', () => {
  it('is one hand rail, and bench leads off is confirmed rail by rail before anything else', () => {
    expect(Object.entries(plan.rails).map(([name, rail]) => [name, rail.class])).toEqual([
      ['own mains', 'hand'],
    ])
    expect(plan.off.channels).toEqual([])
    expect(plan.off.knobs).toMatchObject([{ rail: 'own mains', class: 'hand' }])
    for (const rail of ['heaters', 'bias', 'HT'])
      expect(
        plan.wires.filter(({ text }) => text.startsWith(`both leads of the bench for ${rail} are off`)),
      ).toHaveLength(1)
    expect(plan.wires.map(({ text }) => text).join('\n')).toMatch(
      /joined again for heaters: both wires of the mains/,
    )
  })
  it('reads heaters and bias at full mains with HT kept off, goes to nothing and is watched down before the rectifier is back', () => {
    const about = (what: string): number => plan.steps.findIndex(({ ask }) => ask?.about === what)
    const back = about('fit rectifier')
    expect(about('own mains heaters')).toBeLessThan(back)
    expect(about('own mains bias')).toBeLessThan(back)
    expect(plan.steps[back - 1]?.ask).toMatchObject({ about: 'stored charge', wants: { low: -5, high: 5 } })
    expect(
      plan.steps.slice(0, back).findLast(({ do: does }) => does === 'raise' || does === 'lower'),
    ).toMatchObject({ do: 'lower', target_V: 0 })
    expect(plan.steps.slice(0, back).every(({ ask }) => ask?.about !== 'own mains current')).toBe(true)
  })
  it('computes the HT current for the heater volts of each step, and holds none below 80 % for more than two minutes', () => {
    const raises = plan.steps.filter(({ do: does, rail }) => does === 'raise' && rail === 'own mains')
    for (const { target_V, time_limits, filaments_low, hold_s } of raises.filter(
      ({ target_V: V }) => V < 0.8 * 230,
    )) {
      expect(filaments_low, String(target_V)).toBe(true)
      expect(time_limits, String(target_V)).toMatchObject([{ s: 120 }])
      expect(hold_s).toBeLessThan(120)
    }
    const currents = plan.steps.flatMap(({ ask }) => (ask?.about === 'own mains current' ? [ask] : []))
    const high = currents.map(({ wants }) => (wants.kind === 'reading' ? wants.high : 0))
    expect(high).toEqual([...high].sort((a, b) => a - b))
    expect(currents[0]?.text).toContain('anything from nothing to')
    expect(currents.at(-1)?.wants).toMatchObject({ unit: 'A', rail: 'HT' })
    // Where V9 may be lit or dark nothing is held.
    expect(plan.left_out?.[0]?.text).toContain('a gas regulator may be lit or dark')
  })
  it('no fault is tried against what a person reads by hand, and none is reckoned from it', () => {
    const { equipment, bench } = joined
    const covered = coverageOf({ equipment, bench, plan })
    expect(covered).toMatchObject({ total: 0, hand_checks: [] })
    expect(covered.notes.join()).toContain('a person reads a few windows by hand')
    const seen = { tripped: null, steps: [] } as never
    expect(JSON.stringify(createDiagnoser({ equipment, bench, plan })(seen))).toContain(
      'no fault is reckoned from them',
    )
  })
  it('HT and winding ends stand far above the mains that are set: each raise wants hands clear, whatever its volts', () => {
    for (const each of [plan, planned(alone)]) {
      const raises = each.steps.filter(({ do: does }) => does === 'raise')
      expect(raises.some(({ target_V }) => target_V < 60)).toBe(true)
      expect(raises.every(({ hands_clear }) => hands_clear)).toBe(true)
      expect(each.rails['own mains']?.touch_V).toBe(0)
    }
  })
  it('what keeps HT off pulls the rectifier, or says what it leaves charged', () => {
    const own = joined.equipment.own_mains
    if (own === undefined) throw new Error('own')
    const by = (opened_by: string): typeof own => ({ ...own, HT: { ...own.HT, opened_by } })
    for (const said of ['V16 out of its socket', 'V16 is pulled'])
      expect(rectifierPulled(by(said)), said).toBe(true)
    for (const said of ['HT fuse F2 out', 'fuse behind V16 out', 'V16 output fuse out'])
      expect(rectifierPulled(by(said)), said).toBe(false)
    expect(refusedFor({ equipment: { ...joined.equipment, own_mains: by('HT fuse F2 out') } })).toMatch(
      /nothing says what that leaves charged.* 311 V at full mains/,
    )
  })
  it('asks for no hand inside while it stands at any volts', () => {
    for (const each of [plan, planned(alone)]) {
      let V = 0
      for (const step of each.steps) {
        if (step.do === 'raise' || step.do === 'lower') V = step.target_V
        if (V > 0) expect(step.ask?.inside ?? false, step.stage).toBe(false)
      }
    }
  })
  it('is refused beside a bench supply, behind mercury, unattended, with the key down, and by a reservoir that cannot stand it', () => {
    expect(refusedFor({ bench: load('receive.yaml').bench })).toContain('second source on the same reservoir')
    expect(refusedFor({ profile: { ...joined.profile, unattended: true } })).toContain('unattended')
    const tubes = { ...joined.equipment.tubes, V16: { ...joined.equipment.tubes['V16'], type: '866A' } }
    expect(refusedFor({ equipment: { ...joined.equipment, tubes } as Equipment })).toContain('mercury-vapour')
    const own = joined.equipment.own_mains
    if (own === undefined) throw new Error('own')
    const high = { ...joined.equipment, own_mains: { ...own, HT: { ...own.HT, taps: { receive: 380 } } } }
    expect(refusedFor({ equipment: high })).toContain('more than the 495 V it stands for a surge')
    expect(refusedFor({ profile: { ...joined.profile, mode: 'key down' } })).toContain('keys a driven stage')
  })
  it('a set known by its rails alone: the transformer is tried whatever its HT comes to, and joined only where that may stand', () => {
    const small = demo('small-receiver/receive')
    const bench: Bench = { ...joined.bench, meters: {} }
    const of = (half_V: number): Equipment => ({
      ...small.equipment,
      own_mains: {
        ...{ volts: 230, transformer: 'T1', primary_ohm: 20, fuse_A: 1, earthed: false, source: 'invented' },
        windings: { a: half_V, b: half_V, heaters: 6.6 },
        HT: {
          ...{ rail: 'HT', halves: ['a', 'b'], taps: {}, rectifier: null },
          ...{ opened_by: 'HT fuse out', leaves_charged: 'reservoir' },
          ...{ read_at: 'milliammeter in place of the HT fuse' },
        },
      },
    })
    const plans = (half_V: number) =>
      [alone, joined].map(({ profile }) => makePlan({ ...profile, mode: 'receive' }, of(half_V), bench))
    const [tried, refused] = plans(240)
    expect(tried?.plan?.steps.length).toBeGreaterThan(15)
    expect(refused?.plan).toBeNull()
    expect(refused?.problems.map(({ what }) => what).join()).toMatch(
      /At full mains HT comes to 2[89]\d V .* may carry 275 V/,
    )
    const sound = plans(205)[1]?.plan
    // Nothing earths it, and nobody takes the bench's earth off a chassis that may be live: what was not read is said.
    expect(sound?.unproved.join('\n')).toMatch(
      /its leakage current with mains on it was not read.*mains insulation/,
    )
    const told = JSON.stringify([sound?.steps, sound?.wires])
    expect(told).not.toMatch(/own mains leakage|earth off|true earth/)
    // A fuse behind the reservoir leaves that charged: it has its own meter, and is read before the fuse goes back.
    const back = sound?.steps.findIndex(({ ask }) => ask?.about === 'fit rectifier') ?? 0
    const read = sound?.steps.slice(back - 2, back).map(({ ask }) => ask)
    expect(read).toMatchObject([
      { about: 'stored charge', wants: { node: 'reservoir', low: -5, high: 5 } },
      { about: 'stored charge', wants: { node: small.equipment.rails['HT']?.positive, low: -5, high: 5 } },
    ])
    expect(told).toContain('clipped from reservoir to')
    // The end of a run names it too.
    if (sound == null) throw new Error('sound')
    expect(Object.keys(storedCharge(sound, initialState(sound)))).toContain('reservoir')
    expect(sound.prove_dead.map(({ node }) => node)).toContain('reservoir')
    expect(told).toContain('reservoir charges all the same, to 290 V at full mains')
    // An iron of which nothing is known is held against its fuse.
    const iron = tried?.plan?.steps.find(({ target_V }) => target_V === 230)?.limits['own mains']
    expect(iron).toMatchObject({ expected_A: 0.1, upper_A: 0.35, trip_A: 0.35, ceiling_A: 1 })
  })
  it('semiconductors make HT at once: they begin lower, and nothing is expected to be starved of it', () => {
    const own = joined.equipment.own_mains
    if (own === undefined) throw new Error('own')
    const solid = planned({
      ...joined,
      equipment: {
        ...joined.equipment,
        own_mains: {
          ...own,
          HT: { ...own.HT, rectifier: null, opened_by: 'HT fuse F2 out', leaves_charged: 'reservoir' },
        },
      },
    })
    const first = (of: Plan): number =>
      of.steps
        .slice(of.steps.findIndex(({ ask }) => ask?.about === 'fit rectifier'))
        .find(({ do: does }) => does === 'raise')?.target_V ?? 0
    expect(first(solid)).toBe(23)
    expect(first(plan)).toBe(46)
  })
})

describe('on the virtual bench', () => {
  const run = (of: typeof joined, faults: readonly string[] = [], operator: Operator = willing) => {
    const asked: Ask[] = []
    // The times at full volts are long for what they say in a test.
    const stages = of.profile.stages.map((stage) =>
      stage.do === 'own mains' ? { ...stage, hold_s: 20 } : stage,
    )
    const plan = planned({ ...of, profile: { ...of.profile, stages } })
    const result = rehearse(plan, of.equipment, of.bench, {
      seed: 7,
      record: () => undefined,
      poll_us: 500_000,
      faults: faults.map((text) => {
        const read = readFault(text, of.equipment, of.bench)
        if (!read.ok) throw new Error(read.problem)
        return read.value
      }),
      operator: (ask, at) => {
        asked.push(ask)
        return operator(ask, at)
      },
    })
    return { result, asked }
  }
  it('heaters that are kept low for two minutes end it, each answer in its own time or not', () => {
    const slow: Operator = (ask, at) => {
      const said = willing(ask, at)
      const reads =
        ask.about === 'own mains current' || (ask.wants.kind === 'reading' && ask.wants.unit === 'A')
      return said !== null && reads ? { ...said, after_s: 70 } : said
    }
    const { result, asked } = run(joined, [], slow)
    expect(result.ending).toMatchObject({
      outcome: 'tripped',
      reason: { code: 'key-time' },
      hand_rails: { 'own mains': 0 },
    })
    expect(result.ending.reason?.text).toContain('no longer than 2 min below 80 %')
    expect(asked.at(-1)?.about).toBe('hand off own mains')
  })
  it.each([
    ['knob own mains', alone],
    ['own mains current', joined],
  ] as const)('too many amps typed for %s end it at once, and are not asked once more', (about, of) => {
    const { result, asked } = run(of, [], (ask, at) => {
      const said = willing(ask, at)
      const amps = ask.wants.kind === 'reading' && ask.wants.unit === 'A' && ask.about === about
      return said !== null && amps ? { ...said, value: 9 } : said
    })
    expect(result.ending).toMatchObject({ outcome: 'tripped', hand_rails: { 'own mains': 0 } })
    expect(result.ending.reason?.text).toMatch(/^Turn it down now. A reading of 9 A is outside/)
    const amps = asked.filter(
      (ask) => ask.about === about && ask.wants.kind === 'reading' && ask.wants.unit === 'A',
    )
    expect(amps).toHaveLength(1)
    expect(asked.at(-1)?.about).toBe('hand off own mains')
  })
  it('the transformer alone and the whole set go through, and a shorted reservoir ends it with the knob turned down', () => {
    for (const of of [alone, joined]) {
      const { result, asked } = run(of)
      expect(result.ending.outcome, of.profile.name).toBe('completed')
      // Nothing is turned up but after "hands clear", at 23 V of mains as at 230.
      const turned = asked.flatMap(({ about, text }, at) =>
        about === 'knob own mains' && /^Turn own mains slowly to/.test(text) ? [asked[at - 1]?.about] : [],
      )
      expect(turned.length).toBeGreaterThan(5)
      expect(new Set(turned)).toEqual(new Set(['hands clear']))
    }
    const { result, asked } = run(joined, ['C1b:short@t>400s'])
    expect(result.ending).toMatchObject({ outcome: 'tripped', hand_rails: { 'own mains': 0 } })
    expect(asked.at(-1)?.about).toBe('hand off own mains')
  })
})
