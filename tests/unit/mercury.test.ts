import { describe, expect, it } from 'vitest'
import { planPage } from '../../src/cli/plan-text.js'
import { recordText } from '../../src/cli/tube/text.js'
import { type Loaded, fromText } from '../../src/files/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import { type Operator, willing } from '../../src/rehearse/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { findTube } from '../../src/tubes/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'
import { changed, soundBench, soundProfile, soundSet } from '../helpers/files.js'
import { rehearse } from '../helpers/replayed.js'

/** Its filament's dropper on 12.6 V. */
const dropperOf = { '866A': '2.02 Ω', '816': '5.05 Ω', '872A': '1.01 Ω' } as const
type Type = keyof typeof dropperOf

/** The helper's set, fed at the plate of a mercury-vapour rectifier that stays in its socket and proves itself too. */
function setWith(type: Type, more = ''): string {
  const part = '  R90: { kind: heater resistor, value: 14 Ω, rated: 5 W }'
  const changes = [
    ['positive: reservoir', 'positive: rectifier plate'],
    ['tubes:\n', `tubes:\n  V5: { type: "${type}"${more}, plate: rectifier plate, cathode: reservoir }\n`],
    [part, `${part}\n  R91: { kind: heater resistor, value: ${dropperOf[type]}, rated: 100 W }`],
    ['series: [V1, R90] }', 'series: [V1, R90] }\n  B: { rail: heaters, series: [V5, R91] }'],
  ] as const
  return changes.reduce((text, [from, to]) => changed(text, { from, to }), soundSet)
}

function value<T>({ value, problems }: Loaded<T>): T {
  if (value === null) throw new Error(problems.map(({ what, remedy }) => `${what}; ${remedy}`).join('\n'))
  return value
}

const bench = value(
  fromText(
    changed(
      changed(soundBench, { from: 'kind: real', to: 'kind: virtual\nequipment: equipment.yaml\nseed: 3' }),
      {
        from: 'max_amps: 5 A',
        to: 'max_amps: 20 A',
      },
    ).replaceAll(/line: \{ kind: serial, path: [^,]+, baud: 9600 \}/g, 'line: { kind: virtual, as: pty }'),
    'bench.yaml',
    'bench',
  ),
)
const profile = value(fromText(soundProfile, 'profile.yaml', 'profile'))
function planOf(type: Type, more = ''): { plan: Plan; equipment: Parameters<typeof makePlan>[1] } {
  const equipment = value(fromText(setWith(type, more), 'equipment.yaml', 'equipment'))
  const { plan, problems } = makePlan(profile, equipment, bench)
  if (plan === null) throw new Error(problems.map(({ what }) => what).join('\n'))
  return { plan, equipment }
}

const risesWith = 'Raise HT from 0 V'

/** Seconds from the heaters at full volts to the first intent to raise HT, what the person was asked and what was recorded. */
function run(type: Type, say: 'yes' | 'no') {
  let risen = false
  const { plan: full, equipment } = planOf(type)
  // A tenth of the half hour: the rehearsal is as true, and the test as short.
  const plan = {
    ...full,
    heaters: full.heaters.map((watch) =>
      watch.mercury === undefined ? watch : { ...watch, mercury: { ...watch.mercury, first_use_s: 180 } },
    ),
  }
  const entries: RunEntry[] = []
  const asked: string[] = []
  const operator: Operator = (ask, at) => {
    if (ask.about === 'mercury') {
      asked.push(ask.text)
      return { after_s: 5, value: say }
    }
    return willing(ask, at)
  }
  const { ending } = rehearse(plan, equipment, bench, {
    seed: 4,
    faults: [],
    record: (entry) => {
      entries.push(entry)
      risen ||= entry.entry === 'event' && entry.event.text.startsWith(risesWith)
    },
    operator,
    watch: () => (risen ? 'stop' : undefined),
  })
  const events = entries.flatMap((entry) => (entry.entry === 'event' ? [entry.event] : []))
  const at_s = (test: (text: string) => boolean): number =>
    (events.find(({ text }) => test(text))?.t_us ?? NaN) / 1e6
  return {
    ending,
    asked,
    texts: events.map(({ text }) => text),
    waited_s: at_s((text) => text.startsWith(risesWith)) - at_s((text) => text.startsWith('Raise heaters')),
  }
}

describe('a mercury-vapour rectifier in its socket', () => {
  it('heats its filament alone for the long time when the person is not sure, and says so in the record', () => {
    const { ending, asked, waited_s, texts } = run('866A', 'no')
    expect(asked).toHaveLength(1)
    expect(asked[0]).toMatch(/V5.*20 °C or more.*30 s.*3 min/)
    expect(ending.reason?.code).toBe('operator')
    expect(waited_s).toBeGreaterThan(180)
    expect(waited_s).toBeLessThan(400)
    expect(texts.join('\n')).toContain('filament alone before any HT: V5: 180 s')
  })
  it('is planned for half an hour without a question where the file of the set says that it was moved', () => {
    const { plan } = planOf('816', ', mercury: moved')
    const { plan: asked } = planOf('816')
    const watch = plan.heaters.find(({ mercury }) => mercury !== undefined)
    expect(watch?.warm_up_s).toBe(1800)
    expect(watch?.mercury?.stated).toBe('V5 is stated as moved')
    expect(plan.expected_s - asked.expected_s).toBe(1770)
    // Without that line the answer may still be that it was moved: the budget leaves the time.
    expect(asked.time_budget_s).toBeGreaterThan(1770 + asked.expected_s)
  })
  it('stands in the plan with its times, its temperatures and their sources, and in the cautions', () => {
    const { plan } = planOf('872A')
    const watch = plan.heaters.find(({ mercury }) => mercury !== undefined)
    expect(watch?.warm_up_s).toBe(60)
    expect(watch?.mercury).toMatchObject({ tubes: ['V5'], first_use_s: 1800, condensed_low_C: 20 })
    expect(plan.figures.hazards).toContain('mercury')
    expect(planPage(plan)).toMatch(/MERCURY-VAPOUR RECTIFIERS\n.*V5 \(872A\)/)
  })
  it('is not shortened by what the file states for its chain', () => {
    const text = setWith('872A').replace(
      'series: [V5, R91] }',
      'series: [V5, R91], warm_up: { value: 10 s, source: a guess } }',
    )
    const equipment = value(fromText(text, 'equipment.yaml', 'equipment'))
    const { plan } = makePlan(profile, equipment, bench)
    expect(plan?.heaters.find(({ chain }) => chain === 'B')?.warm_up_s).toBe(60)
  })
  it('is told to be kept upright where it is pulled, and waited for when it comes back', () => {
    const text = changed(soundSet, { from: 'type: 5R4GY', to: 'type: 866A' })
    const equipment = value(fromText(text, 'equipment.yaml', 'equipment'))
    const { plan } = makePlan(profile, equipment, bench)
    const first = plan?.hookup.find(({ rail }) => rail === 'HT')?.first.join('\n')
    expect(first).toMatch(/pull V9 \(866A\).*upright.*30 min before any HT/)
    expect(plan?.heaters.every(({ mercury }) => mercury === undefined)).toBe(true)
  })
  it('may not be claimed of a tube that holds none', () => {
    const text = changed(soundSet, { from: '{ type: 6V6GT,', to: '{ type: 6V6GT, mercury: moved,' })
    const { problems } = fromText(text, 'equipment.yaml', 'equipment')
    expect(problems.map(({ what }) => what).join('\n')).toContain('V1 (6V6GT) is no mercury-vapour rectifier')
  })
})

describe('the interlock of a mercury-vapour rectifier', () => {
  const plan = smallPlan((made) => ({
    ...made,
    heaters: made.heaters.map((watch) => ({
      ...watch,
      mercury: {
        tubes: ['V5'],
        first_use_s: 120,
        stated: null,
        condensed_low_C: 20,
        condensed_high_C: 60,
        text: 'invented',
        source: 'invented',
      },
    })),
  }))
  const heatedAlone_s = (answer: 'yes' | 'no' | null): number => {
    const rig = new Rig(plan)
    rig.unanswered = /mercury/
    rig.start().until('the question', () => rig.state.prompt?.purpose.kind === 'mercury')
    for (let i = 0; i < 100; i++) rig.tick()
    expect(Object.values(rig.on)).not.toContain(true)
    if (answer === null) {
      rig.feed({ kind: 'answer', prompt: rig.state.prompt?.id ?? 0, value: 'go on', by: 'rehearsal' })
      expect(rig.state.prompt?.purpose.kind).toBe('mercury')
      return 0
    }
    rig.answer(answer)
    rig.until('heaters in band', () => rig.state.rails['LT']?.good_since_us !== null)
    const from_us = rig.t_us
    rig.until('HT rising', () => (rig.state.rails['HT']?.set_V ?? 0) > 60)
    return (rig.t_us - from_us) / 1e6
  }
  it('waits for an answer with nothing energised, and takes only yes or no', () => {
    heatedAlone_s(null)
  })
  it('lets HT come after the time of each start on yes, and after the long time on no', () => {
    expect(heatedAlone_s('yes')).toBeLessThan(90)
    expect(heatedAlone_s('no')).toBeGreaterThan(120)
  })
})

describe('the records of mercury-vapour rectifiers', () => {
  it('all say how long the filament heats alone, at each start and at first, and where the mercury may condense', () => {
    for (const type of ['866A', '816', '83', '872A']) {
      const { found } = findTube(type)
      expect(found?.mercury?.first_use_s.value).toBe(1800)
      expect(found?.warm_up_s.value).toBeGreaterThanOrEqual(30)
      expect(found === null ? '' : recordText(found, '')).toMatch(/condensed mercury, not below 20 °C/)
    }
  })
})
