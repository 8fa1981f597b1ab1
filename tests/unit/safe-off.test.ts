import { describe, expect, it } from 'vitest'
import {
  safeOffBegin,
  safeOffStep,
  type SafeOffOutput,
  type SafeOffResult,
} from '../../src/controller/safe-off.js'
import type { OffPlan } from '../../src/plan/index.js'
import { type FakeOutput, FakeSupply, testLine } from '../helpers/fake-supply.js'

const configs = [testLine('HTS', ['1'], 400), testLine('LV', ['1', '2'], 60)]

function offPlan(release: Partial<OffPlan['bias_release']> = {}): OffPlan {
  const channel = (
    name: string,
    role: 'HT' | 'heater' | 'bias',
    off_order: number,
  ): OffPlan['channels'][number] => ({
    channel: name,
    port: name.split('.')[0] ?? '',
    rail: role,
    role,
    off_order,
    off_text: '',
    expected_fall: role === 'HT' ? { ohm: 100_000, F: 20e-6 } : null,
    resolution_V: 0.1,
    resolution_A: 0.0001,
  })
  return {
    format: 'slowglow off 1',
    channels: [channel('HTS.1', 'HT', 1), channel('LV.1', 'heater', 2), channel('LV.2', 'bias', 3)],
    heaters_off_after_s: 30,
    bias_release: {
      below_V: 60,
      discharge_s: null,
      cathodes_cold_s: 300,
      only_wire_between: true,
      ...release,
    },
  }
}

interface Told {
  readonly t_s: number
  readonly output: SafeOffOutput
}

/** Plays the engine against two fake supplies, 20 ms at a time, until it ends. */
function play(ht: Partial<FakeOutput>, plan = offPlan(), silent: readonly string[] = []) {
  const on = { on: true, ignoresOff: false, keeps: 0 }
  const supplies: Record<string, FakeSupply> = {
    HTS: new FakeSupply([{ ...on, volts: 250, amps: 0.04, keeps: 0.5, ...ht }]),
    LV: new FakeSupply([
      { ...on, volts: 12, amps: 1.2 },
      { ...on, volts: 50, amps: 0.002 },
    ]),
  }
  let state = safeOffBegin(plan, configs, 0)
  const told: Told[] = []
  const offs: string[] = []
  const found: SafeOffResult[] = []
  let t_us = 0
  let waiting: { port: string; text: string }[] = []
  const feed = (input: Parameters<typeof safeOffStep>[1]): void => {
    const turn = safeOffStep(state, input)
    state = turn.state
    for (const output of turn.outputs) {
      told.push({ t_s: t_us / 1e6, output })
      if (output.kind === 'end') found.push(output.result)
      if (output.kind !== 'write') continue
      const supply = supplies[output.port]
      const before = supply?.heard.length ?? 0
      const replies = supply?.receive(output.text) ?? []
      for (const said of supply?.heard.slice(before) ?? []) {
        if (said.includes('OUTP OFF')) offs.push(`${output.port}.${said[0] ?? ''}`)
      }
      if (silent.includes(output.port)) continue
      for (const reply of replies) waiting.push({ port: output.port, text: reply })
    }
  }
  for (const port of ['HTS', 'LV']) feed({ kind: 'port', port, line: { kind: 'opened', t_us } })
  while (found.length === 0 && t_us < 1000e6) {
    t_us += 20_000
    for (const supply of Object.values(supplies)) supply.pass(0.02)
    const replies = waiting
    waiting = []
    for (const { port, text } of replies) feed({ kind: 'port', port, line: { kind: 'text', t_us, text } })
    feed({ kind: 'tick', t_us })
  }
  return {
    result: found[0],
    told,
    offs: [...new Set(offs)],
    supplies,
    ended_s: t_us / 1e6,
  }
}

describe('safe-off', () => {
  it('puts HT off first, heaters when HT is low, bias last, and confirms all three by measurement', () => {
    const { result, offs } = play({})
    expect(offs).toEqual(['HTS.1', 'LV.1', 'LV.2'])
    expect(result?.outputs_off).toBe('confirmed')
    expect(result?.bias_released_by).toMatch(/^\(a\)/)
  })

  it('sends the first OFF with the opening of the port, before anything has answered', () => {
    const { told } = play({}, offPlan(), ['HTS', 'LV'])
    const first = told.find(({ output }) => output.kind === 'write' && output.text.includes('OUTP OFF'))
    expect(first?.t_s).toBe(0)
    expect(first?.output).toMatchObject({ port: 'HTS', urgent: true })
  })

  it('keeps the bias on, puts heaters off after 30 s and alarms when HT ignores OFF', () => {
    const { result, supplies, told } = play({ ignoresOff: true })
    expect(result?.outputs_off).toBe('not confirmed')
    expect(supplies['LV']?.outputs[0]?.on).toBe(false)
    expect(supplies['LV']?.outputs[1]?.on).toBe(true)
    expect(supplies['HTS']?.heard).toContain('1:VOLT 0.00')
    expect(
      told.some(
        ({ output }) => output.kind === 'alarm' && output.text.includes('Cut the mains of the HT sources'),
      ),
    ).toBe(true)
    const heaters = told.find(({ output }) => output.kind === 'record' && output.text.includes('heater'))
    expect(heaters?.t_s).toBeGreaterThanOrEqual(30)
  })

  it('releases the bias only 300 s after heaters were confirmed off when only that rule applies', () => {
    const { result, ended_s } = play({ keeps: 0.97 }, offPlan({ only_wire_between: false }))
    expect(result?.outputs_off).toBe('confirmed')
    expect(result?.bias_released_by).toMatch(/^\(c\)/)
    expect(ended_s).toBeGreaterThan(300)
  })

  it('releases the bias by the computed discharge time where the off plan has one', () => {
    const { result, ended_s } = play({}, offPlan({ only_wire_between: false, discharge_s: 60 }))
    expect(result?.bias_released_by).toMatch(/^\(b\)/)
    expect(ended_s).toBeGreaterThan(60)
    expect(ended_s).toBeLessThan(70)
  })

  it('does not call a channel confirmed whose port never answered', () => {
    const { result } = play({}, offPlan(), ['HTS', 'LV'])
    expect(result?.outputs_off).toBe('not confirmed')
    expect(result?.silent).toEqual(['HTS', 'LV'])
  })
})
