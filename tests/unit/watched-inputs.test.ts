import { describe, expect, it } from 'vitest'
import { fromText } from '../../src/files/index.js'
import { lineConfigOf, type LineMeter } from '../../src/line/index.js'
import type { InputLimit, Measures, Plan } from '../../src/plan/index.js'
import { storedCharge } from '../../src/story/index.js'
import { channelOf, fullDialect, LineWorld, supplyOf } from '../helpers/line-world.js'
import { soundBench } from '../helpers/files.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

/* Bench file */

const withMeter = (lines: string): string =>
  (soundBench.includes('\nmeters:') ? soundBench : `${soundBench}\nmeters:\n`).replace(
    '\nmeters:\n',
    `\nmeters:\n${lines}`,
  )
const problemsOf = (lines: string): string =>
  JSON.stringify(fromText(withMeter(lines), 'bench.yaml', 'bench').problems)

describe('a watched input in a bench file', () => {
  it('on a supply’s line is sound with its question, its limits and their reasons', () => {
    const text =
      '  lid:\n    on: low\n    ask: ":DIG:INP?"\n    measures: contact\n    limits: [{ trip: open, because: hands reach HT }]\n'
    expect(problemsOf(text)).toBe('[]')
  })

  for (const [title, text, says] of [
    [
      'that shares the line of no supply',
      '  lid: { on: nobody, ask: "X?", measures: contact }\n',
      /no supply of this bench/,
    ],
    ['that nothing reads', '  case: { measures: °C }\n', /on no line, so nothing ever reads it/],
    ['that is asked nothing', '  lid: { on: low, measures: contact }\n', /nothing says how lid is asked/],
    [
      'with a limit in another unit',
      '  case: { on: low, measures: °C, limits: [{ trip: above 70 V, because: no }] }\n',
      /'above 70 V' is no limit of case/,
    ],
    [
      'with a limit that says neither warn nor trip',
      '  case: { on: low, measures: °C, limits: [{ because: no }] }\n',
      /one of warn and trip/,
    ],
    [
      'with a contact that is to be above something',
      '  lid: { on: low, ask: "X?", measures: contact, limits: [{ trip: above 1 V, because: no }] }\n',
      /write open or closed/,
    ],
  ] as const)
    it(`${title} is refused with what to write`, () => {
      expect(problemsOf(text)).toMatch(says)
    })
})

/* Line */

const lineWith = (inputs: readonly LineMeter[], answers: Record<string, () => string | null>): LineWorld => {
  const supply = supplyOf(fullDialect, { a: channelOf(1) })
  const asked = Object.entries(answers).map(([ask, text]) => ({ ask, text }))
  const world = new LineWorld({ ...lineConfigOf('S', supply), inputs }, supply, {}, asked)
  world.open()
  world.run(3_000_000, () => world.state.link === 'ready')
  return world
}
const readings = (world: LineWorld, seconds: number): number => {
  const before = world.kinds('reading').length
  world.run(seconds * 1e6)
  return world.kinds('reading').length - before
}
const lid: LineMeter = { name: 'lid', measures: 'contact', limit: 1, ask: ':DIG:INP?', every_us: 200_000 }
const warm: LineMeter = { name: 'case', measures: '°C', limit: 400, ask: ':MEAS:TEMP?', every_us: 2_000_000 }

describe('read-only channels on a supply’s line', () => {
  it('are read in their own turn, and cost the rails less than a tenth of their rate', () => {
    const plain = readings(lineWith([], {}), 10)
    const world = lineWith([lid, warm], { ':DIG:INP?': () => '1', ':MEAS:TEMP?': () => '41.5' })
    const beside = readings(world, 10)
    expect(beside).toBeGreaterThan(0.9 * plain)
    const read = world.kinds('meter').map((event) => (event.kind === 'meter' ? event.meter : ''))
    expect(read.filter((name) => name === 'case').length).toBeGreaterThanOrEqual(4)
    expect(read.filter((name) => name === 'lid').length).toBeGreaterThanOrEqual(20)
    expect(world.device.abuses()).toEqual([])
  })

  it('are told as 1 closed, 0 open, whichever way the contact answers', () => {
    const world = lineWith([{ ...lid, closed_is: 0 }], { ':DIG:INP?': () => '1' })
    world.run(1_000_000)
    expect(world.kinds('meter').at(-1)).toMatchObject({ meter: 'lid', value: { n: 0, k: 0 } })
  })

  it('that give no answer are asked ever more rarely, and the rails go on being read', () => {
    const world = lineWith([{ ...lid, every_us: 500_000 }], { ':DIG:INP?': () => null })
    world.run(20_000_000)
    const late = world.written.filter(({ t_us, text }) => t_us > 12_000_000 && text.includes('DIG'))
    expect(late.length).toBeLessThanOrEqual(3)
    expect(readings(world, 5)).toBeGreaterThan(50)
    expect(world.kinds('line lost')).toEqual([])
  })

  it('whose answer cannot be are not believed', () => {
    const world = lineWith([warm], { ':MEAS:TEMP?': () => '9.91E37' })
    world.run(5_000_000)
    expect(world.kinds('meter')).toEqual([])
  })
})

/* Sequencer */

const limit = (change: Partial<InputLimit>): InputLimit => ({
  act: 'trip',
  when: 'above',
  at: 70,
  because: 'invented for this test',
  ...change,
})
const watching = (
  measures: Measures,
  limits: readonly InputLimit[],
  more: { readonly needed?: boolean; readonly at?: string } = {},
): Plan =>
  smallPlan((plan) => {
    const like = plan.meters['grid meter']
    if (like === undefined) throw new Error('the small plan has no grid meter')
    const { needed = limits.length > 0, at = null } = more
    const watch = {
      uses: limits.map(({ because }) => `trips: ${because}`),
      needed,
      stale_s: 1,
      limits,
      falls: { ohm: 20_000, F: 50e-6 },
    }
    return {
      ...plan,
      meters: { ...plan.meters, M2: { ...like, name: 'M2', port: 'M2', measures, at, watch } },
    }
  })
const rigOf = (plan: Plan, shows: number): Rig => {
  const rig = new Rig(plan)
  rig.meters['M2'] = shows
  return rig.start()
}
const run = (rig: Rig, seconds: number): Rig => {
  const until_us = rig.t_us + seconds * 1e6
  while (rig.t_us < until_us && rig.ending === null) rig.tick()
  return rig
}

describe('a watched input', () => {
  it('is too old by its own line, not by the slowest of the bench', () => {
    const rig = rigOf(
      { ...watching('contact', [limit({ when: 'open', at: null })]), stale_s: 15 },
      1,
    ).toFullHT()
    rig.meters['M2'] = null
    const from_us = rig.t_us
    expect(rig.toTheEnd()).toMatchObject({ outcome: 'failed', reason: { code: 'stale' } })
    const off = rig.commands.find((command) => command.kind === 'urgent off')
    expect(((off?.t_us ?? Infinity) - from_us) / 1e6).toBeLessThan(1.2)
  })

  it('above its trip limit trips at once, with its value, its limit and the reason', () => {
    const rig = rigOf(watching('V', [limit({ at: 260 })], { at: 'HT+' }), 10).toFullHT()
    rig.meters['M2'] = 261
    rig.tick()
    expect(rig.state.off).toMatchObject({ how: 'urgent', outcome: 'tripped' })
    expect(rig.state.off?.reason).toMatchObject({
      code: 'watched-input',
      measured: 261,
      limit: 260,
      unit: 'V',
    })
    expect(rig.state.off?.reason?.text).toContain('invented for this test')
  })

  it('that reads a temperature is believed with the second reading, not with the first', () => {
    const rig = rigOf(watching('°C', [limit({})]), 30).toFullHT()
    rig.meters['M2'] = 90
    rig.tick()
    expect(rig.state.phase).toBe('running')
    rig.meters['M2'] = 30
    rig.tick()
    rig.meters['M2'] = 90
    run(rig, 0.1)
    expect(rig.state.off?.reason).toMatchObject({ code: 'watched-input', measured: 90, unit: '°C' })
  })

  it('that only warns is said once, and the run goes on', () => {
    const rig = rigOf(watching('°C', [limit({ act: 'warn', at: 50 })]), 60).toFullHT()
    expect(rig.state.phase).toBe('running')
    expect(rig.state.warnings.filter((text) => text.includes('M2 is above 50 °C'))).toHaveLength(1)
  })

  it('lets nothing rise above the touch limit while the lid is open, waits for it, and then goes on', () => {
    const rig = rigOf(watching('contact', [limit({ when: 'open', at: null })]), 0)
    rig.until('the gate', () =>
      rig.state.warnings.some((text) => text.includes('Nothing rises while this is so')),
    )
    run(rig, 30)
    expect(rig.state.phase).toBe('running')
    expect(Math.max(...Object.values(rig.set))).toBeLessThanOrEqual(60)
    rig.meters['M2'] = 1
    rig.toFullHT()
    rig.meters['M2'] = 0
    rig.tick()
    expect(rig.state.off?.reason).toMatchObject({ code: 'watched-input' })
    expect(rig.state.off?.how).toBe('urgent')
  })

  it('makes a run-down urgent when its contact opens', () => {
    const rig = rigOf(watching('contact', [limit({ when: 'open', at: null })]), 1).toFullHT()
    rig.feed({ kind: 'stop', how: 'run down', by: 'test' })
    rig.on['ht.1'] = true
    rig.ignoresOff.add('ht.1')
    rig.meters['M2'] = 0
    rig.tick()
    expect(rig.state.off?.how).toBe('urgent')
  })

  it('makes the run-down of a run that did as planned urgent too, while HT stands', () => {
    const rig = rigOf(watching('contact', [limit({ when: 'open', at: null })]), 1)
    rig.foreign['ht.1'] = { V: 0, A: 0 }
    rig.until('the run-down at the end', () => {
      if (rig.state.step === rig.plan.steps.length - 1) rig.ignoresOff.add('ht.1')
      return rig.state.off !== null
    })
    expect(rig.state.off).toMatchObject({ how: 'run down', outcome: 'completed' })
    rig.meters['M2'] = 0
    rig.tick()
    expect(rig.state.off).toMatchObject({ how: 'urgent', outcome: 'tripped' })
  })

  it('that is needed and goes quiet makes safe', () => {
    const rig = rigOf(watching('°C', [limit({})]), 30).toFullHT()
    rig.meters['M2'] = null
    run(rig, 1.5)
    expect(rig.state.off?.reason).toMatchObject({ code: 'stale' })
    expect(rig.state.off?.reason?.text).toContain('trips: invented for this test')
  })

  it('that only informs is said to be lost, by silence and with its line, and nothing more', () => {
    const quiet = rigOf(watching('V', [], { at: 'HT+' }), 10).toFullHT()
    quiet.meters['M2'] = null
    run(quiet, 2)
    const gone = rigOf(watching('V', [], { at: 'HT+' }), 10).toFullHT()
    gone.feed({ kind: 'line lost', port: 'M2', text: 'port M2: nobody answers' })
    for (const rig of [quiet, gone]) {
      expect(rig.state.phase).toBe('running')
      expect(rig.state.warnings.join()).toContain('M2 no longer answers: its reading is lost')
    }
  })
})

describe('the charge at a node with a set-side meter', () => {
  const ended = (volts: (since_s: number) => number): Rig => {
    const rig = rigOf(watching('V', [], { at: 'HT+' }), 250).toFullHT()
    rig.feed({ kind: 'stop', how: 'off now', by: 'test' })
    const off_us = rig.t_us
    while (rig.ending === null) {
      rig.meters['M2'] = volts((rig.t_us - off_us) / 1e6)
      rig.tick()
    }
    return rig
  }

  it('is told by that meter, and its fall as the circuit makes it is no warning', () => {
    const rig = ended((t) => 250 * Math.exp(-t))
    expect(storedCharge(rig.plan, rig.state)['HT+']).toMatchObject({ meter: 'M2' })
    expect(rig.ending?.warnings.join()).not.toContain('fell from')
  })

  it('that does not fall is a warning', () => {
    const rig = ended((t) => 250 - t)
    expect(rig.ending?.warnings.join()).toMatch(/HT\+ fell from 250 V to .* slower than its discharge path/)
  })

  it('is told with how it fell', () => {
    const rig = ended((t) => (t < 0.2 ? 250 : Math.max(0, 250 - 240 * Math.min(1, t))))
    const said = storedCharge(rig.plan, rig.state)['HT+']
    expect(JSON.stringify(said)).toContain('HT+ fell from')
  })
})
