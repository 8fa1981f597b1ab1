import { describe, expect, it } from 'vitest'
import { frameOf } from '../../src/cli/live/screen.js'
import { eventsText } from '../../src/cli/story-text.js'
import { healthInWords, type LineFault, type LineHealth } from '../../src/exchange/index.js'
import { healthOf, lineConfigOf, type LineOutput } from '../../src/line/index.js'
import type { RunEvent } from '../../src/story/index.js'
import type { Story } from '../../src/record/index.js'
import { brisk, demo, told } from '../faults/demo.js'
import { channelOf, fullDialect, LineWorld, supplyOf } from '../helpers/line-world.js'

const supply = supplyOf(fullDialect, { plate: channelOf(1) })

function ready(): LineWorld {
  const w = new LineWorld(lineConfigOf('BENCH', supply), supply)
  w.open()
  w.run(5_000_000, () => w.kinds('reading').length > 4)
  return w
}
/** Until a question of this kind is under way, whose answer the test gives itself. */
function asked(w: LineWorld, words: string): LineWorld {
  w.run(3_000_000, () => w.state.flight?.move.text.includes(words) === true)
  w.device.faults({ silent: true })
  return w
}
const says = (w: LineWorld, text: string): readonly LineOutput[] =>
  w.give({ kind: 'text', t_us: w.t_us, text })

/** What is done to a line, and the one kind of fault it is counted as. */
const cases: Readonly<Partial<Record<LineFault, (w: LineWorld) => void>>> = {
  no_reply: (w) => {
    asked(w, 'MEAS:VOLT?')
    w.run(supply.reply_s * 1e6 + 40_000, () => w.state.link === 'quiet')
  },
  late_reply: (w) => {
    asked(w, 'MEAS:VOLT?')
    w.run(1_000_000, () => w.state.link === 'quiet')
    says(w, '1.00')
  },
  stale_reply: (w) => {
    asked(w, 'MEAS:VOLT?')
    w.run(1_000_000, () => w.state.link === 'identify')
    says(w, '1.00')
  },
  unparsable: (w) => says(asked(w, 'MEAS:VOLT?'), '2.3.00'),
  out_of_range: (w) => says(asked(w, 'MEAS:VOLT?'), '9.91E37'),
  line_noise: (w) => says(asked(w, 'MEAS:VOLT?'), '\xb1\xae\xb5'),
  overlong_line: (w) =>
    asked(w, 'MEAS:VOLT?').give({
      kind: 'discarded',
      t_us: w.t_us,
      bytes: 300,
      why: 'a line longer than 256 characters',
      overlong: true,
    }),
  echo: (w) => says(asked(w, 'MEAS:VOLT?'), w.state.flight?.move.text ?? ''),
  connection_lost: (w) => w.give({ kind: 'closed', t_us: w.t_us, text: 'gone' }),
  write_failed: (w) => w.give({ kind: 'closed', t_us: w.t_us, text: 'a write was not taken', stuck: true }),
  reopened: (w) => {
    w.give({ kind: 'closed', t_us: w.t_us, text: 'gone' })
    w.run(1_000_000, () => w.state.link !== 'closed')
  },
  identity_changed: (w) => {
    w.give({ kind: 'closed', t_us: w.t_us, text: 'gone' })
    w.device.faults({ wrong_identity: true })
    w.run(4_000_000)
  },
  read_back_differs: (w) => {
    w.give({ kind: 'request', t_us: w.t_us, id: 1, channel: 'BENCH.plate', do: 'set', volts: 60 })
    asked(w, ':VOLT?')
    says(w, '61.00')
  },
  supply_error: (w) => {
    w.give({
      kind: 'request',
      t_us: w.t_us,
      id: 1,
      channel: 'BENCH.plate',
      do: 'limits',
      limit_A: 0.1,
      over_voltage_V: null,
    })
    asked(w, 'SYST:ERR?')
    says(w, '-222,"Data out of range"')
  },
  asked_again: (w) => says(asked(w, 'MEAS:VOLT?'), 'x'),
  resynchronised: (w) => {
    asked(w, 'MEAS:VOLT?')
    w.run(1_000_000, () => w.state.link === 'quiet')
  },
  given_up: (w) => {
    w.deaf = true
    w.run(60_000_000, () => w.kinds('line lost').length > 0)
  },
}

describe('every kind of line fault is counted under its own name', () => {
  it('and a line without any has none', () => {
    const { faults, replies, worst_reply_s, polled_Hz, discarded_bytes } = healthOf(ready().state)
    expect(faults).toEqual({})
    expect(discarded_bytes).toBe(0)
    expect(replies).toBeGreaterThan(4)
    expect(worst_reply_s).toBeLessThan(supply.reply_s)
    expect(polled_Hz).toBeGreaterThan(1)
  })

  it.each(Object.entries(cases))('%s', (fault, happens) => {
    const w = ready()
    happens(w)
    expect(healthOf(w.state).faults).toHaveProperty(fault, expect.any(Number))
  })

  it('a reply that answers nothing is one of them, and is no reading', () => {
    const line = new LineWorld({ ...lineConfigOf('BENCH', supply), poll_us: 10_000_000 }, supply)
    line.open()
    line.run(5_000_000, () => line.state.link === 'ready' && line.state.flight === null)
    says(line, '7.00')
    expect(healthOf(line.state).faults).toMatchObject({ unasked_reply: 1, resynchronised: 1 })
  })
})

describe('an instrument that echoes', () => {
  it('is never taken for another, is named for what it is, and ends as a lost line', () => {
    const w = new LineWorld({ ...lineConfigOf('BENCH', supply), identity: null }, supply)
    w.deaf = true
    w.open()
    for (let i = 0; i < 4000 && w.kinds('line lost').length === 0; i++) {
      w.run(20_000)
      const last = w.written.at(-1)?.text ?? ''
      if (w.state.link === 'identify') says(w, last)
    }
    expect(w.state.identity).toBeNull()
    expect(w.kinds('line lost')[0]).toHaveProperty('text', expect.stringContaining('echo of our own words'))
  })
})

describe('a supply that answers in the words of the set command', () => {
  const echoing = supplyOf(
    {
      ...fullDialect,
      select: null,
      off: 'OUT 0',
      on: 'OUT 1',
      ask_output: 'OUT?',
      set_volts: 'VSET {v}',
      ask_set_volts: 'VSET?',
      answers: { ask_output: 'OUT {x}', ask_set_volts: 'VSET {x}' },
    },
    { plate: channelOf(1) },
  )
  const opened = (): LineWorld => {
    const w = new LineWorld(lineConfigOf('BENCH', echoing), echoing)
    w.open()
    w.run(5_000_000, () => w.kinds('reading').length > 4)
    return w
  }

  it('is believed where nothing else comes back', () => {
    const w = opened()
    expect(w.ask(1, 'BENCH.plate', { do: 'set', volts: 12 })).toEqual({ kind: 'done', id: 1 })
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(1_000_000)
    expect(w.kinds('output').at(-1)).toEqual({ kind: 'output', channel: 'BENCH.plate', on: false })
    expect(w.state.channels[0]?.output).toBe(false)
    expect(healthOf(w.state).faults).not.toHaveProperty('echo')
  })

  it('is not believed on a line that echoes: OFF is not confirmed by our own words', () => {
    // It obeys no OFF in these words, and says them again like all others.
    const deaf = { ...echoing, dialect: { ...echoing.dialect, off: 'CEASE' } }
    const w = new LineWorld(lineConfigOf('BENCH', echoing), deaf)
    w.open()
    w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 20 })
    w.ask(2, 'BENCH.plate', { do: 'set', volts: 12 })
    expect(w.ask(3, 'BENCH.plate', { do: 'on' })).toEqual({ kind: 'done', id: 3 })
    w.device.faults({ echo: true })
    w.events.length = 0
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(10_000_000)
    expect(w.faces['plate']?.on).toBe(true)
    expect(w.kinds('output')).toContainEqual(expect.objectContaining({ on: true }))
    expect(w.kinds('output')).not.toContainEqual(expect.objectContaining({ on: false }))
  })
})

describe('the memory of what was said', () => {
  it('holds no half of a line, which a true reply might be equal to', () => {
    const w = ready()
    w.run(3_000_000)
    const all = w.written.map(({ text }) => text).join('')
    const lines = new Set(all.split('\n'))
    for (const line of w.state.said.split('\n')) expect(lines).toContain(line)
    expect(all.length).toBeGreaterThan(400)
  })
})

/** All that the line puts out from now on. */
function listened(w: LineWorld): readonly LineOutput[] {
  const out: LineOutput[] = []
  const give = w.give.bind(w)
  w.give = (input) => {
    const outputs = give(input)
    out.push(...outputs)
    return outputs
  }
  return out
}

describe('what a line tells of itself', () => {
  it('is told at most once a second for its counts, and once in ten seconds for the same rung, however bad it is', () => {
    const w = ready()
    const out = listened(w)
    const from = w.t_us
    for (let i = 0; i < 1500; i++) {
      w.run(20_000)
      says(w, 'nonsense')
    }
    const seconds = (w.t_us - from) / 1e6
    const health = out.filter((output) => output.kind === 'health')
    expect(health.length).toBeGreaterThan(5)
    expect(health.length).toBeLessThanOrEqual(seconds + 1)
    for (const rung of ['ask again', 'resynchronise', 'reopen'] as const) {
      const told = out.filter((output) => output.kind === 'rung' && output.rung === rung)
      expect(told.length).toBeLessThanOrEqual(seconds / 10 + 1)
    }
  })

  it('names each rung of the ladder as it is climbed, with its reason, and says when it is well again', () => {
    const w = ready()
    const out = listened(w)
    w.device.faults({ silent: true })
    w.run(30_000_000, () => w.kinds('line lost').length > 0)
    w.device.faults({})
    w.run(20_000_000)
    const rungs = out.flatMap((output) => (output.kind === 'rung' ? [output] : []))
    const names = rungs.map(({ rung }) => rung)
    expect(names.slice(0, 2)).toEqual(['resynchronise', 'reopen'])
    expect(names).toContain('give up')
    expect(names.at(-1)).toBe('answers again')
    expect(rungs[0]?.text).toMatch(/port BENCH: no reply to ".*" in time; silence and identity first/)
  })
})

describe('a rehearsal on a line that garbles', () => {
  const run = told(
    demo((bench) => bench, brisk),
    [`line.${Object.keys(demo().bench.supplies)[0] ?? ''}:garbled@t>30s`],
  )
  const events = run.entries.flatMap((entry): RunEvent[] => (entry.entry === 'event' ? [entry.event] : []))

  it('records what its lines counted and every rung, from the line and not from who decides', () => {
    const health = events.filter(({ what }) => what === 'line health')
    expect(health.length).toBeGreaterThan(1)
    expect(
      events.some(({ what, text }) => what === 'line' && text.includes('the same question once more')),
    ).toBe(true)
    for (const { from, what } of events) if (what.startsWith('line')) expect(from).toBe('line')
    expect(Object.values(run.lines).some(({ faults }) => Object.keys(faults).length > 0)).toBe(true)
  })

  it('shows them on the page and the rungs by time, its counts only once', () => {
    const story = {
      events: events.map(({ t_us, ...rest }) => ({ ...rest, t_s: t_us / 1e6 })),
    } as unknown as Story
    expect(eventsText(story)).toContain('the same question once more')
    expect(eventsText(story)).not.toContain('line health')
  })
})

describe('the health of a line in words', () => {
  const bad: LineHealth = {
    faults: { late_reply: 2, resynchronised: 1 },
    discarded_bytes: 0,
    replies: 900,
    worst_reply_s: 0.0312,
    polled_Hz: 18.23,
  }

  it('says only what is not zero, in one line', () => {
    expect(healthInWords(bad)).toBe(
      'each reading 18 × a second; worst reply 31 ms; 2 late replies thrown away, 1 resynchronisation',
    )
    expect(healthInWords({ ...bad, faults: {} })).toMatch(/; no fault$/)
  })

  it('is on the live screen only where something is not well', () => {
    const view = {
      phase: 'running',
      step: 1,
      steps: 2,
      steps_done: 0,
      stage: 'HT',
      rail: null,
      waiting_for: 'x',
      elapsed_s: 0,
      left_s: 1,
      rails: [],
      inputs: [],
      reason: null,
    } as const
    const size = { columns: 100, rows: 40 }
    expect(frameOf(view, 1, size, { psu: { ...bad, faults: {} } }).join('\n')).not.toContain('psu')
    expect(frameOf(view, 1, size, { psu: bad }).join('\n')).toContain(
      '  Line psu: 2 late replies thrown away, 1 resynchronisation',
    )
  })
})
