import { describe, expect, it } from 'vitest'
import {
  safeOffBegin,
  type SafeOffInput,
  type SafeOffOutput,
  safeOffStep,
} from '../../src/controller/safe-off.js'
import type { OffPlan } from '../../src/plan/index.js'
import { FakeSupply, testLine } from '../helpers/fake-supply.js'
import { bias, heater, ht, off_channel, offPlan, play, type Told } from '../helpers/safe-off-play.js'

/** Half a second at a time: what takes minutes there is looked at in a moment here. */
const step_s = 0.5
const off = { on: false, volts: 0, amps: 0, ignoresOff: false, keeps: 0 }
const ignores = { ignoresOff: true }
const byHand = (rail: string, role: 'HT' | 'heater'): NonNullable<OffPlan['knobs']>[number] => ({
  ...{ rail, role, class: 'hand' as const },
  ...{ volts_meter: null, amps_meter: null, no_A: 0 },
})
const isOff = ({ output }: Told): boolean => output.kind === 'write' && output.text.includes('OUTP OFF')

/** Safe-off by hand, with lines that somebody here speaks for. */
function begun(plan: OffPlan, ports: Readonly<Record<string, readonly string[]>>) {
  const configs = Object.entries(ports).map(([port, channels]) => testLine(port, channels, 400))
  const first = safeOffBegin(plan, configs, 0)
  const own = {
    state: first.state,
    outputs: [...first.outputs] as SafeOffOutput[],
    step(input: SafeOffInput): readonly SafeOffOutput[] {
      const turn = safeOffStep(own.state, input)
      own.state = turn.state
      own.outputs.push(...turn.outputs)
      return turn.outputs
    },
    ticks(until_s: number): void {
      for (let t_us = own.state.now_us; t_us <= until_s * 1e6; t_us += 500_000)
        own.step({ kind: 'tick', t_us })
    },
    opens: (port: string) =>
      own.step({ kind: 'port', port, line: { kind: 'opened', t_us: own.state.now_us } }),
  }
  return own
}

describe('the last words of safe-off', () => {
  it('are that all is confirmed, where it is, and nothing else', () => {
    const { result, told } = play({ step_s })
    expect(result?.text).toBe('Outputs confirmed off, by measurement at the supplies.')
    expect(result?.silent).toEqual([])
    expect(told.at(-1)?.output).toEqual({ kind: 'end', result })
    expect(told.at(-2)?.output).toEqual({ kind: 'record', what: 'off', rail: null, text: result?.text })
  })

  it('name what is not confirmed, and only that, each with what is known of it', () => {
    const { result, told } = play({ step_s, ht: ignores })
    expect(result?.text).toBe(
      'Outputs NOT confirmed off: HT (OFF was given and is not confirmed by measurement; last read back: output on, 250 V at the supply); ' +
        'bias (not told OFF: bias stays while nothing shows that HT is down; last read back: output on, 50 V at the supply).',
    )
    const heaters = told.find(({ output }) => output.kind === 'record' && output.text.startsWith('Heaters'))
    expect(heaters?.output).toMatchObject({ what: 'off' })
    const alarms = told.flatMap(({ output }) => (output.kind === 'alarm' ? [output.text] : []))
    const kept = told.flatMap(({ output }) =>
      output.kind === 'record' && output.what === 'alarm' ? [output.text] : [],
    )
    expect(alarms).toHaveLength(2)
    expect(kept).toEqual(alarms)
  })

  it('say of a rail whose port never answered that nobody knows whether OFF arrived, and of no other', () => {
    const { result } = play({ step_s, silent: ['HTS'] })
    const unknown = '; its port never answered, so whether anything arrived is unknown'
    expect(result?.silent).toEqual(['HTS'])
    expect(result?.rails['HT']?.how.endsWith(unknown)).toBe(true)
    expect(result?.rails['bias']?.how).not.toContain('answer')
    expect(result?.rails['heater']).toMatchObject({ confirmed: true })
    expect(result?.text).toContain(unknown)
  })

  it('speak of another instrument while it is the one that answers, and only of that port', () => {
    const { result, told } = play({ step_s, identity: 'THE ONE,OF BEFORE,1,1.0' })
    // That its line is given up is told once.
    const lines = told.flatMap(({ output }) =>
      output.kind === 'record' && output.what === 'line' ? [output.text] : [],
    )
    expect(lines.filter((text) => text.includes('another supply'))).toHaveLength(1)
    expect(result?.rails['HT']?.how).toMatch(
      /another instrument answers there, so whether anything arrived is unknown$/,
    )
    expect(result?.rails['bias']?.how).not.toContain('another instrument')
    expect(result?.text).toMatch(/ Port HTS: [^.]*another supply answers/)
    expect(result?.text).toMatch(/only then is it believed\.$/)
  })

  it('speak of an instrument on the wrong line no more once the right one answers', () => {
    const known = 'invented,test supply,1,1.0'
    const { result } = play({
      step_s,
      identity: known,
      ht: ignores,
      meanwhile: (t_s, { HTS }) => {
        HTS.identity = t_s < 10 ? 'ANOTHER,ONE,1,1.0' : known
      },
    })
    expect(result?.text).toMatch(/^Outputs NOT confirmed off: HT \(OFF was given .* at the supply\)\.$/)
  })

  it('name the knobs that were not measured, or that a bench file names none', () => {
    const cold = { only_wire_between: false, cathodes_cold_s: 5 }
    const text = (knobs: OffPlan['knobs']) =>
      play({ step_s, plan: offPlan(cold, { channels: [heater, bias], knobs, heaters_off_after_s: 3 }) })
        .result?.text
    const confirmed = 'Outputs confirmed off, by measurement at the supplies.'
    expect(text([])).toBe(confirmed)
    expect(text([byHand('plates', 'HT'), byHand('screens', 'HT')])).toBe(
      `${confirmed} On your own knobs, not measured here: plates, screens.`,
    )
    expect(text(null)).toBe(
      `${confirmed} What this bench file does not name (HT on a knob, mains of the set) was not looked at.`,
    )
  })
})

describe('what is on its way to a supply', () => {
  it('is OFF to HT before anything else that falls due in the same moment', () => {
    // Heaters follow after three seconds here, in which HT is told again.
    const { told } = play({
      step_s,
      ht: ignores,
      plan: offPlan({}, { heaters_off_after_s: 3 }),
      at_most_s: 4,
    })
    const offs = told
      .filter(isOff)
      .map(({ t_s, output }) => `${output.kind === 'write' ? output.port : ''} ${t_s}`)
    // The line repeats its own until it is read back as off; what is told again joins it, before heaters.
    expect(offs.filter((each) => each.endsWith(' 3'))).toEqual(['HTS 3', 'HTS 3', 'LV 3'])
    const heaters = told.filter(
      ({ output }) => output.kind === 'record' && output.text.startsWith('Heaters off'),
    )
    expect(heaters).toHaveLength(1)
  })

  it('is urgent OFF for the outputs of that port, each once, and none for one without plates or screens', () => {
    const plan = offPlan(
      {},
      { channels: [ht, off_channel('HT2.1', 'HT', 1), off_channel('HT2.2', 'HT', 1), heater] },
    )
    const own = begun(plan, { HTS: ['1'], HT2: ['1', '2'], LV: ['1', '2'] })
    const urgent = (port: string): string =>
      own
        .opens(port)
        .flatMap((output) => (output.kind === 'write' && output.urgent ? [output.text] : []))
        .join('')
    const offs = (text: string): string[] =>
      [...text.matchAll(/NSEL (\d);\s*:OUTP OFF/g)].map(([, n]) => n ?? '')
    expect(offs(urgent('HTS'))).toEqual(['1'])
    expect(offs(urgent('HT2'))).toEqual(['1', '2'])
    expect(urgent('LV')).toBe('')
    expect(own.state.lines['LV']?.urgent).toBeNull()
  })

  it('waits once of each kind for each output of a port that is not there', () => {
    const second = { ...heater, channel: 'LV.2', rail: 'heater 2' }
    const plan = offPlan({}, { channels: [ht, heater, second], heaters_off_after_s: 1 })
    const own = begun(plan, { HTS: ['1'], LV: ['1', '2'] })
    own.ticks(14)
    const waiting = own.state.lines['LV']?.waiting.map((each) => `${each.channel} ${each.do}`)
    expect(waiting).toEqual(['LV.1 off', 'LV.2 off', 'LV.1 zero', 'LV.2 zero'])
    expect(own.state.lines['HTS']?.waiting.map(({ do: what }) => what)).toEqual(['zero'])
  })
})

describe('what safe-off takes note of', () => {
  it('is that a port answered, once, when it did; and its clock goes forward only', () => {
    const own = begun(offPlan(), { HTS: ['1'], LV: ['1', '2'] })
    expect(own.state.answered).toEqual([])
    const supply = new FakeSupply([off, off])
    let said = own.opens('LV')
    for (let t_us = 10_000; t_us <= 800_000; t_us += 10_000) {
      const replies = said.flatMap((output) => (output.kind === 'write' ? supply.receive(output.text) : []))
      said = [
        { kind: 'time', t_us } as const,
        ...replies.map((text) => ({ kind: 'text', t_us, text }) as const),
      ].flatMap((line) => own.step({ kind: 'port', port: 'LV', line }))
      expect(own.state.now_us).toBe(t_us)
    }
    own.step({ kind: 'port', port: 'LV', line: { kind: 'time', t_us: 30_000 } })
    own.step({ kind: 'tick', t_us: 30_000 })
    expect(own.state.now_us).toBe(800_000)
    expect(own.state.answered).toEqual(['LV'])
    expect(own.state.strangers).toEqual({})
  })

  it('is a person at the knob: called for at once, and not waited for', () => {
    const plan = offPlan({}, { channels: [heater, bias], knobs: [byHand('plates', 'HT')] })
    const own = begun(plan, { LV: ['1', '2'] })
    const alarms = own.outputs.flatMap((output) => (output.kind === 'alarm' ? [output.text] : []))
    expect(alarms[0]).toBe('Turn plates down to zero by its knob now, one hand.')
    expect(own.state.off.asks).toBe(false)
  })

  it('is nothing more once it has ended', () => {
    const own = begun(offPlan({}, { stale_s: 0.1 }), { HTS: ['1'], LV: ['1', '2'] })
    own.ticks(20)
    const ended = own.state
    expect(own.outputs.filter(({ kind }) => kind === 'end')).toHaveLength(1)
    expect(own.opens('HTS')).toEqual([])
    expect(own.step({ kind: 'tick', t_us: 1e9 })).toEqual([])
    expect(own.state).toBe(ended)
    expect(ended.result?.silent).toEqual(['HTS', 'LV'])
  })
})

describe('the dead-man that a bias hangs on', () => {
  const dead_man = {
    ...{ arm: [':WATC ON'], feed: ':WATC:FEED', after_s: 8, per: 'supply' as const },
    ...{ disarm: [':WATC OFF'], ask_armed: null, ask_expired: null },
  }
  const last = (told: readonly Told[], word: string): number =>
    told.findLastIndex(({ output }) => output.kind === 'write' && output.text.includes(word))

  it('is put to rest and heard to be, before the end is told', () => {
    const { told, alarms, ended_s, result } = play({ step_s, ht: ignores, dead_man })
    expect(last(told, ':WATC OFF')).toBeGreaterThan(last(told, ':WATC:FEED'))
    expect(told.at(-1)?.output).toMatchObject({ kind: 'end' })
    expect(alarms.join()).not.toContain('put to rest')
    // As it is answered, not when time is up.
    const off_s = told[last(told, ':WATC OFF')]?.t_s ?? 0
    expect(ended_s - off_s).toBeGreaterThan(0)
    expect(ended_s - off_s).toBeLessThan(2)
    expect(result?.outputs_off).toBe('not confirmed')
  })

  it('is spoken of where it is not known to be at rest, and never holds the end up for long', () => {
    const { told, alarms, ended_s } = play({
      step_s,
      ht: ignores,
      dead_man: { ...dead_man, ask_armed: ':WATC?' },
    })
    const off_s =
      told[told.findIndex(({ output }) => output.kind === 'write' && output.text.includes(':WATC OFF'))]
        ?.t_s ?? 0
    expect(ended_s - off_s).toBeLessThanOrEqual(4)
    const called = alarms.filter((text) => text.includes('The dead-man of LV could not be put to rest'))
    expect(called).toHaveLength(1)
    expect(
      told.some(
        ({ output }) => output.kind === 'record' && output.what === 'alarm' && output.text === called[0],
      ),
    ).toBe(true)
  })

  it('runs out where no bias stays on, and where there is none nothing is said to it', () => {
    expect(last(play({ step_s, dead_man }).told, ':WATC OFF')).toBe(-1)
    const { told, alarms } = play({ step_s, ht: ignores })
    expect(last(told, 'WATC')).toBe(-1)
    expect(alarms.join()).not.toContain('put to rest')
    // Nor is one spoken of at a supply that has none and does not answer.
    const { alarms: calls } = play({ step_s, silent: ['HTS', 'LV'] })
    expect(calls.length).toBeGreaterThan(0)
    expect(calls.join()).not.toContain('put to rest')
  })
})
