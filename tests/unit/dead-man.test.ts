import { describe, expect, it } from 'vitest'
import type { Supply } from '../../src/bench/index.js'
import { lineConfigOf } from '../../src/line/index.js'
import type { Plan } from '../../src/plan/index.js'
import { channelOf, LineWorld } from '../helpers/line-world.js'
import { referenceSupply } from '../helpers/reference.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

const guarded = referenceSupply(['dead-man'])

/** `says`: words of the computer's that differ from the supply's. */
function raised(supply: Supply = guarded, says: Partial<Supply['dialect']> = {}): LineWorld {
  const w = new LineWorld(
    lineConfigOf('BENCH', { ...supply, dialect: { ...supply.dialect, ...says } }),
    guarded,
  )
  w.open()
  w.run(3_000_000, () => w.state.link === 'ready')
  w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 120 })
  w.ask(2, 'BENCH.plate', { do: 'set', volts: 100 })
  w.ask(3, 'BENCH.plate', { do: 'on' })
  return w
}
const said = (w: LineWorld, words: string): number =>
  w.written.filter(({ text }) => text.includes(words)).length

/** A supply of the same words, but for some of its dead-man's. */
function otherwise(change: Partial<NonNullable<Supply['dialect']['dead_man']>>): Supply {
  const { dead_man } = guarded.dialect
  if (dead_man === null) throw new Error('no dead-man')
  return { ...guarded, dialect: { ...guarded.dialect, dead_man: { ...dead_man, ...change } } }
}

describe('the dead-man on the line', () => {
  it('is not fed by replies alone: where amps are no longer read it fires, though everything else is answered', () => {
    const w = raised()
    w.run(5_000_000)
    expect(w.faces['plate']?.on).toBe(true)
    // Beyond what can be: no such reading is believed.
    w.fixed = { plate: { V: 100, A: 99 } }
    w.run(20_000_000)
    expect(w.faces['plate']?.on).toBe(false)
    expect(w.kinds('protection')).toContainEqual(
      expect.objectContaining({ channel: 'BENCH.plate', which: 'dead-man' }),
    )
  })

  it('is left to fire where the output does not obey OFF', () => {
    const w = raised(guarded, { off: ':OUTP:CEASE' })
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(1_000_000)
    expect(w.faces['plate']?.on).toBe(true)
    w.run(4_000_000)
    expect(w.faces['plate']?.on).toBe(false)
    expect(w.kinds('output')).toContainEqual({ kind: 'output', channel: 'BENCH.plate', on: false })
  })

  it('of the whole supply is left to fire where one of the outputs that hang on it does not obey OFF', () => {
    const { dead_man } = guarded.dialect
    if (dead_man === null) throw new Error('no dead-man')
    const supply: Supply = {
      ...guarded,
      channels: { plate: channelOf(1), screen: channelOf(2, { role: 'screen' }) },
      dialect: { ...guarded.dialect, dead_man: { ...dead_man, per: 'supply' } },
    }
    const w = new LineWorld(lineConfigOf('BENCH', supply), supply)
    w.open()
    w.run(3_000_000, () => w.state.link === 'ready')
    w.ask(1, 'BENCH.plate', { do: 'limits', limit_A: 0.05, over_voltage_V: 120 })
    w.ask(2, 'BENCH.plate', { do: 'set', volts: 100 })
    w.ask(3, 'BENCH.plate', { do: 'on' })
    w.unheard = /NSEL 1;:OUTP OFF/
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate', 'BENCH.screen'] })
    w.run(1_000_000)
    expect(w.faces['plate']?.on).toBe(true)
    expect(w.state.channels[1]?.output).toBe(false)
    w.run(4_000_000)
    expect(w.faces['plate']?.on).toBe(false)
  })

  it('is not armed on a line that was opened to switch off only', () => {
    const w = new LineWorld({ ...lineConfigOf('BENCH', guarded), only_off: true }, guarded)
    w.open()
    w.run(5_000_000)
    expect(w.kinds('reading').length).toBeGreaterThan(8)
    expect(said(w, 'DMAN:STAT ON')).toBe(0)
  })

  it('loses the line at its opening where its time reads back as another than was sent, and says which', () => {
    const w = raised(otherwise({ arm: [':OUTP:DMAN:TIME 1{s}', ':OUTP:DMAN:STAT ON'] }))
    expect(w.kinds('line lost')).toEqual([
      expect.objectContaining({
        text: expect.stringContaining('reads back as 12 s, after sending 2 s') as string,
      }),
    ])
    expect(said(w, ':OUTP ON')).toBe(0)
  })

  it('is armed again later where the question for its time got no answer on another connection', () => {
    const silent = otherwise({ ask_armed: null })
    const w = raised(silent)
    w.run(2_000_000)
    w.unheard = /DMAN:TIME\?/
    w.written.length = 0
    w.open()
    w.run(3_000_000)
    w.unheard = null
    w.run(10_000_000)
    expect(said(w, 'DMAN:STAT ON')).toBe(1)
  })

  it('is put to rest and read back, then neither fed nor armed again on another connection', () => {
    const w = raised()
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(1_000_000)
    expect(w.ask(4, 'BENCH.plate', { do: 'disarm' })).toEqual({ kind: 'done', id: 4 })
    w.written.length = 0
    w.open()
    w.run(20_000_000)
    expect(said(w, 'DMAN:FEED') + said(w, 'DMAN:STAT ON')).toBe(0)
    expect(w.kinds('protection')).toEqual([])
  })

  it('goes on being fed, though not armed anew, where the line comes back while everything goes off: bias stands on it', () => {
    const w = raised()
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: [] })
    w.run(1_000_000)
    w.written.length = 0
    w.open()
    w.run(20_000_000)
    expect(w.faces['plate']?.on).toBe(true)
    expect(said(w, 'DMAN:FEED')).toBeGreaterThan(10)
    expect(said(w, 'DMAN:STAT ON')).toBe(0)
  })

  it('that goes on reading back as armed fails the request, with a sentence', () => {
    const w = raised(otherwise({ disarm: [':OUTP:DMAN:REST'] }))
    w.give({ kind: 'urgent off', t_us: w.t_us, channels: ['BENCH.plate'] })
    w.run(1_000_000)
    expect(w.ask(4, 'BENCH.plate', { do: 'disarm' })).toMatchObject({
      kind: 'failed',
      code: 'read-back differs',
      text: expect.stringContaining('still reads back as armed') as string,
    })
  })
})

describe('the dead-man at the end of a run', () => {
  const plan: Plan = smallPlan((small) => ({
    ...small,
    rails: Object.fromEntries(
      Object.entries(small.rails).map(([name, rail]) => [
        name,
        name === 'HT'
          ? { ...rail, channels: rail.channels.map((part) => ({ ...part, dead_man: true as const })) }
          : rail,
      ]),
    ),
  }))
  const disarms = (rig: Rig): number =>
    rig.commands.filter((command) => command.kind === 'line' && command.do === 'disarm').length

  it('is put to rest when every output is confirmed off, and not before', () => {
    const rig = new Rig(plan).start()
    let early = 0
    rig.overhears = (command, state) => {
      const off = Object.values(state.channels).every(({ output }) => output === 'off')
      if (command.kind === 'line' && command.do === 'disarm' && !off) early += 1
    }
    expect(rig.toTheEnd()).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed', warnings: [] })
    expect(disarms(rig)).toBe(1)
    expect(early).toBe(0)
  })

  it('stays armed where an output is not confirmed off', () => {
    const rig = new Rig(plan).start().toFullHT()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'test' })
    expect(rig.toTheEnd()).toMatchObject({ outputs_off: 'not confirmed' })
    expect(disarms(rig)).toBe(0)
  })

  it('is put to rest all the same where it would take a bias that stays on, and of that supply only', () => {
    const both = Object.entries(plan.rails).map(([name, rail]) => [
      name,
      { ...rail, channels: rail.channels.map((part) => ({ ...part, dead_man: true as const })) },
    ])
    const rig = new Rig({ ...plan, rails: Object.fromEntries(both) as Plan['rails'] }).start().toFullHT()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'test' })
    expect(rig.toTheEnd()).toMatchObject({ outputs_off: 'not confirmed' })
    expect(rig.on['bias.1']).toBe(true)
    const rested = rig.commands.flatMap((each) =>
      each.kind === 'line' && each.do === 'disarm' ? [each.channel] : [],
    )
    expect(rested).toEqual(['bias.1'])
  })

  it('comes before the panel is given back, which only a run with every output confirmed off does', () => {
    const local = {
      ...plan,
      rails: Object.fromEntries(
        Object.entries(plan.rails).map(([name, rail]) => [
          name,
          { ...rail, channels: rail.channels.map((part) => ({ ...part, panel: true as const })) },
        ]),
      ),
    } as Plan
    const last = (rig: Rig): string[] =>
      rig.commands.flatMap((each) =>
        each.kind === 'line' && (each.do === 'disarm' || each.do === 'panel')
          ? [`${each.do} ${each.channel}`]
          : [],
      )
    const rig = new Rig(local).start()
    expect(rig.toTheEnd()).toMatchObject({ outcome: 'completed', warnings: [] })
    expect(last(rig)[0]).toBe('disarm ht.1')
    expect(new Set(last(rig).slice(1))).toEqual(new Set(['panel lt.1', 'panel bias.1', 'panel ht.1']))
    const stuck = new Rig(local).start().toFullHT()
    stuck.ignoresOff.add('ht.1')
    stuck.feed({ kind: 'stop', how: 'off now', by: 'test' })
    expect(stuck.toTheEnd()).toMatchObject({ outputs_off: 'not confirmed' })
    expect(last(stuck)).toEqual([])
  })

  it('is no end while an output comes back meanwhile: that one goes off and is confirmed once more', () => {
    const rig = new Rig(plan).start()
    rig.refusesDisarm = true
    rig.until('the dead-man is put to rest', () => (rig.state.off?.rests ?? null) !== null)
    rig.on['ht.1'] = true
    rig.feed({ kind: 'output', channel: 'ht.1', on: true })
    expect(rig.toTheEnd()).toMatchObject({ outputs_off: 'confirmed' })
    expect(rig.on['ht.1']).toBe(false)
  })

  it('that does not answer is a warning, and the run ends all the same', () => {
    const rig = new Rig(plan).start()
    rig.refusesDisarm = true
    const { outcome, warnings } = rig.toTheEnd()
    expect(outcome).toBe('completed')
    expect(warnings).toEqual([expect.stringMatching(/dead-man of ht\.1's supply could not be put to rest/)])
  })
})
