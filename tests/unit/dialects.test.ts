import { readFileSync, readdirSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { plainScpi, type Bench, type Dialect, type Supply } from '../../src/bench/index.js'
import { fromText, loadAll } from '../../src/files/index.js'
import { lineConfigOf } from '../../src/line/index.js'
import { makePlan } from '../../src/plan/index.js'
import { channelOf, LineWorld, supplyOf } from '../helpers/line-world.js'
import { rehearse } from '../helpers/replayed.js'

const folder = new URL('../../firmware-protocol/dialects/', import.meta.url)

function described(file: string): Supply {
  const { value, problems } = fromText(readFileSync(new URL(file, folder), 'utf8'), file, 'bench')
  expect(problems).toEqual([])
  const supply = value?.supplies['BENCH']
  if (supply === undefined) throw new Error(`${file} describes no supply BENCH`)
  return supply
}

const plain = supplyOf(
  { ...plainScpi, select: ':INST:NSEL {n};' },
  { plate: channelOf(1), screen: channelOf(2, { role: 'screen', max_A: 0.1 }) },
)
const supplies: readonly (readonly [string, Supply])[] = [
  ['plain SCPI', plain],
  ...readdirSync(folder)
    .filter((file) => file.endsWith('.yaml'))
    .sort()
    .map((file) => [file, described(file)] as const),
]

function world(supply: Supply, ohm: Readonly<Record<string, number>> = {}): LineWorld {
  const w = new LineWorld(lineConfigOf('BENCH', supply), supply, ohm)
  w.open()
  w.run(10_000_000, () => w.kinds('reading').length > 8)
  return w
}

function raised(supply: Supply, volts: number, ohm: Readonly<Record<string, number>> = {}): LineWorld {
  const w = world(supply, ohm)
  const requests = [
    { do: 'limits', limit_A: 0.05, over_voltage_V: volts + 20 },
    { do: 'set', volts },
    { do: 'on' },
  ] as const
  requests.forEach((body, at) => {
    expect(w.ask(at + 1, 'BENCH.plate', body)).toEqual({ kind: 'done', id: at + 1 })
  })
  return w
}

describe.each(supplies)('a supply that speaks %s', (_, supply) => {
  it('is found, limited, raised and switched on, each read back, and its readings are true', () => {
    const w = raised(supply, 100)
    expect(w.faces['plate']).toMatchObject({ on: true, set_V: 100, limit_A: 0.05, over_V: 120 })
    expect(w.faces['screen']).toMatchObject({ on: false, set_V: 0 })
    w.events.length = 0
    w.run(2_000_000)
    const readings = w.kinds('reading').flatMap((event) => (event.kind === 'reading' ? [event] : []))
    const last = (channel: string, quantity: string): number | undefined => {
      const found = readings
        .filter((event) => event.channel === channel && event.quantity === quantity)
        .at(-1)
      return found && found.value.n / 10 ** found.value.k
    }
    expect(last('BENCH.plate', 'V')).toBeCloseTo(100, 6)
    expect(last('BENCH.plate', 'A')).toBeCloseTo(0.01, 6)
    expect(last('BENCH.screen', 'V')).toBe(0)
    expect(w.state.kept.faults).toEqual({})
    expect(w.device.abuses()).toEqual([])
  })

  it('is switched off by the urgent OFF, on the channel that is meant and no other', () => {
    const w = raised(supply, 100)
    Object.assign(w.faces['screen'] ?? {}, { on: true, set_V: 50, limit_A: 0.05 })
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.events.length = 0
    w.run(3_000_000)
    expect(w.faces['plate']?.on).toBe(false)
    expect(w.faces['screen']?.on).toBe(true)
    expect(w.kinds('output')).toContainEqual({ kind: 'output', channel: 'BENCH.plate', on: false })
    expect(w.device.abuses()).toEqual([])
  })

  it('tells that its over-voltage protection fired', () => {
    const w = raised(supply, 100)
    w.fixed = { plate: { V: 121, A: 0.01 } }
    w.run(3_000_000)
    expect(w.kinds('protection')).toEqual([
      { kind: 'protection', channel: 'BENCH.plate', which: 'over-voltage' },
    ])
  })

  it('refuses settings when somebody takes its panel, and the failure says so', () => {
    const w = raised(supply, 100)
    w.device.faults({ local: true })
    w.run(100_000)
    const failed = w.ask(9, 'BENCH.plate', { do: 'set', volts: 110 })
    expect(failed).toMatchObject({ kind: 'failed', id: 9 })
    const said = supply.dialect.error_lines.length > 0 ? /in local mode/ : /Invalid while in local/
    expect(failed?.kind === 'failed' ? failed.text : '').toMatch(said)
    expect(w.faces['plate']?.set_V).toBe(100)
  })

  it('comes back after a hang-up with its settings looked at again', () => {
    const w = raised(supply, 100)
    w.give({ kind: 'closed', t_us: w.t_us, text: 'hung up' })
    w.run(4_000_000)
    expect(w.kinds('line lost')).toEqual([])
    expect(w.ask(9, 'BENCH.plate', { do: 'set', volts: 105 })).toEqual({ kind: 'done', id: 9 })
    expect(w.device.abuses()).toEqual([])
  })
})

/** The five ways in which supplies report constant current, the last with two maps of bits: wire-protocol, status registers. */
const conventions: readonly (readonly [string, NonNullable<Dialect['ask_cc']>])[] = [
  ['A: the bit of the quantity that is not regulated', { query: ':STAT:QUES:COND?', mask: 1, cv_mask: 2 }],
  ['B: the reverse of A', { query: ':STAT:QUES:COND?', mask: 2, cv_mask: 1 }],
  ['C: operation bits 8 and 10', { query: ':STAT:OPER:COND?', mask: 1024, cv_mask: 256 }],
  ['D: operation bits 0 and 1', { query: ':STAT:OPER:COND?', mask: 2, cv_mask: 1 }],
  ['E: a sub-register for each channel', { query: ':STAT:QUES:INST:ISUM{n}:COND?', mask: 1, cv_mask: 2 }],
  ['E: another map of the sub-register', { query: ':STAT:OPER:INST:ISUM{n}:COND?', mask: 8, cv_mask: 4 }],
]

describe.each(conventions)('constant current told by convention %s', (_, ask_cc) => {
  it.each([
    ['current', 100],
    ['voltage', 10_000],
  ])('is %s regulation into %d Ω', (mode, ohm) => {
    const w = raised({ ...plain, dialect: { ...plain.dialect, ask_cc } }, 100, { plate: ohm })
    w.run(3_000_000)
    const told = w
      .kinds('regulation')
      .filter((event) => 'channel' in event && event.channel === 'BENCH.plate')
    expect(told.at(-1)).toEqual({ kind: 'regulation', channel: 'BENCH.plate', mode })
    expect(w.device.abuses()).toEqual([])
  })

  it('is unknown while the output is off', () => {
    const w = world({ ...plain, dialect: { ...plain.dialect, ask_cc } })
    w.run(3_000_000)
    expect(w.kinds('regulation').at(-1)).toMatchObject({ mode: 'unknown' })
  })
})

describe('what a dialect says besides', () => {
  const of = (file: string): Supply => described(`${file}.yaml`)

  it('is told by every invented supply in its own register', () => {
    for (const file of ['numbered-words', 'channel-lists', 'short-words']) {
      const w = raised(of(file), 100, { plate: 100 })
      w.run(3_000_000)
      expect(w.kinds('regulation'), file).toContainEqual({
        kind: 'regulation',
        channel: 'BENCH.plate',
        mode: 'current',
      })
    }
  })

  it('that it limits for a moment is asked again soon where the measured current does not bear it out', () => {
    const supply = { ...plain, dialect: { ...plain.dialect, ask_cc: conventions[0]?.[1] ?? null } }
    const w = raised(supply, 100, { plate: 100 })
    w.run(1_000_000)
    w.fixed = { plate: { V: 100, A: 0.001 } }
    w.run(500_000)
    w.written.length = 0
    w.run(3_000_000)
    const asked = w.written.filter(({ text }) => text.includes(':INST:NSEL 1;:STAT:QUES:COND?'))
    expect(asked.length).toBeGreaterThan(10)
  })

  it('sets the over-current level above the current limit: first when it rises, last when it falls', () => {
    const w = raised(of('numbered-words'), 100)
    const said = (): string[] =>
      w.written.map(({ text }) => text.trim()).filter((text) => /:CURR(:PROT)? \d/.test(text))
    expect(said()).toEqual([':SOUR1:CURR:PROT 0.6000', ':SOUR1:CURR 0.0500', ':SOUR1:CURR:PROT 0.0552'])
    w.written.length = 0
    w.ask(5, 'BENCH.plate', { do: 'limits', limit_A: 0.02, over_voltage_V: 120 })
    expect(said()).toEqual([':SOUR1:CURR 0.0200', ':SOUR1:CURR:PROT 0.0222'])
    w.fixed = { plate: { V: 100, A: 0.03 } }
    w.run(3_000_000)
    expect(w.kinds('protection')).toContainEqual({
      kind: 'protection',
      channel: 'BENCH.plate',
      which: 'over-current',
    })
  })

  it('waits as long as a slow command needs, and no longer than usual for the others', () => {
    const w = raised(of('channel-lists'), 100)
    const on = w.written.findIndex(({ text }) => text.includes(':OUTP ON'))
    const [said, next] = [w.written[on], w.written[on + 1]]
    expect((next?.t_us ?? 0) - (said?.t_us ?? 0)).toBeGreaterThanOrEqual(300_000)
    expect(w.state.kept.faults.no_reply).toBeUndefined()
  })

  it.each(['numbered-words', 'channel-lists'])(
    'keeps the dead-man of %s from firing in a slow hold, and lets it fire when no reply comes',
    (file) => {
      const w = raised(of(file), 100)
      w.give({ kind: 'pace', t_us: w.t_us, poll_us: 60_000_000 })
      w.run(120_000_000)
      expect(w.faces['plate']?.on).toBe(true)
      expect(w.kinds('protection')).toEqual([])
      w.deaf = true
      w.run(30_000_000)
      expect(w.faces['plate']?.on).toBe(false)
    },
  )

  it('tells that a dead-man fired, on the output it was armed for', () => {
    const w = raised(of('numbered-words'), 100)
    w.deaf = true
    w.run(2_500_000)
    w.deaf = false
    w.run(10_000_000)
    const fired = w.kinds('protection').map((event) => (event.kind === 'protection' ? event : null))
    expect(fired).toContainEqual({ kind: 'protection', channel: 'BENCH.plate', which: 'dead-man' })
  })

  it('arms no dead-man on heaters and bias, which must outlast HT', () => {
    const supply = of('numbered-words')
    const [plate] = Object.values(supply.channels)
    if (plate === undefined) throw new Error('no channel')
    const bias = { ...plate, number: 2, role: 'bias' } as const
    const w = world({ ...supply, channels: { plate, bias } })
    const armed = w.written.filter(({ text }) => text.includes('DMAN:STAT ON'))
    expect(armed.map(({ text }) => text.trim())).toEqual([':OUTP1:DMAN:STAT ON'])
  })

  it('calls the line lost when a dead-man cannot be armed', () => {
    const supply = of('numbered-words')
    const { dead_man } = supply.dialect
    if (dead_man === null) throw new Error('no dead-man')
    const dialect = { ...supply.dialect, dead_man: { ...dead_man, ask_armed: ':OUTP{n}:DMAN:TRIP?' } }
    const w = new LineWorld(lineConfigOf('BENCH', { ...supply, dialect }), supply)
    w.open()
    w.run(10_000_000)
    expect(w.kinds('line lost')[0]).toHaveProperty(
      'text',
      expect.stringContaining('does not read back as armed'),
    )
  })

  it('is believed only with the words around an answer that belong to its question', () => {
    const supply = of('short-words')
    const answers = { ...supply.dialect.answers, measure_amps: 'AMPS={x}' }
    const line = lineConfigOf('BENCH', { ...supply, dialect: { ...supply.dialect, answers } })
    const w = new LineWorld(line, supply)
    w.open()
    w.run(20_000_000)
    expect(w.state.kept.faults.unparsable).toBeGreaterThan(0)
    for (const event of w.kinds('reading')) expect(event).toHaveProperty('quantity', 'V')
  })
})

describe('the table of habits in firmware-protocol/README.md', () => {
  const page = readFileSync(new URL('../README.md', folder), 'utf8')
  const rows = [...page.matchAll(/^\| [^|]+ \| `(\w+)` \| ((?:`[\w-]+\.yaml`(?:, )?)+) \|$/gm)]

  it('names for every habit a supply whose description has the key for it, and leaves no supply out', () => {
    expect(rows.length).toBeGreaterThan(15)
    const named = rows.flatMap(([, key = '', files = '']) =>
      [...files.matchAll(/`([^`]+)`/g)].map(([, file = '']) => {
        const text = readFileSync(new URL(file, folder), 'utf8')
        expect(text, `${file}: ${key}`).toMatch(new RegExp(`[\\s{]${key}:`))
        return file
      }),
    )
    expect(new Set(named)).toEqual(new Set(readdirSync(folder).filter((file) => file.endsWith('.yaml'))))
  })
})

describe('a whole rehearsal of the small receiver', () => {
  const all = loadAll('profiles/small-receiver/receive.yaml')

  it.each(supplies)('over %s ends as planned, every output confirmed off', (_, { dialect }) => {
    if (all.value === null) throw new Error(JSON.stringify(all.problems))
    const { profile, equipment, bench } = all.value
    const changed = mapSupplies(bench, (supply) => ({ ...supply, dialect, reply_s: 0.2 }))
    const { plan, problems } = makePlan(profile, equipment, changed)
    if (plan === null) throw new Error(JSON.stringify(problems))
    const rails = Object.values(plan.rails).filter((rail) => rail.class === 'programmed')
    const can = rails.flatMap((rail) => rail.can).join(' ')
    expect(can.includes('dead-man')).toBe(dialect.dead_man !== null)
    const { ending } = rehearse(plan, equipment, changed, { seed: 5, faults: [], record: () => undefined })
    expect(ending).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed' })
  })
})

function mapSupplies(bench: Bench, to: (supply: Supply) => Supply): Bench {
  const supplies = Object.entries(bench.supplies).map(([name, supply]) => [name, to(supply)] as const)
  return { ...bench, supplies: Object.fromEntries(supplies) }
}
