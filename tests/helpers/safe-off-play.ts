import type { Dialect } from '../../src/bench/index.js'
import {
  safeOffBegin,
  safeOffStep,
  type SafeOffOutput,
  type SafeOffResult,
} from '../../src/controller/safe-off.js'
import type { OffPlan } from '../../src/plan/index.js'
import { type FakeOutput, FakeSupply, testLine } from './fake-supply.js'

export const off_channel = (
  name: string,
  role: 'HT' | 'heater' | 'bias',
  off_order: number,
  expected_fall: { ohm: number; F: number } | null = null,
): OffPlan['channels'][number] => ({
  channel: name,
  port: name.split('.')[0] ?? '',
  rail: role,
  role,
  off_order,
  off_text: '',
  expected_fall,
  resolution_V: 0.1,
  resolution_A: 0.0001,
  zero_A: 0.0003,
})

export const ht = off_channel('HTS.1', 'HT', 1, { ohm: 100_000, F: 20e-6 })
export const heater = off_channel('LV.1', 'heater', 2)
export const bias = off_channel('LV.2', 'bias', 3)

export function offPlan(
  release: Partial<OffPlan['bias_release']> = {},
  over: Partial<Omit<OffPlan, 'bias_release'>> = {},
): OffPlan {
  return {
    format: 'slowglow off 1',
    channels: [ht, heater, bias],
    knobs: [],
    heaters_off_after_s: 30,
    stale_s: 1,
    ...over,
    bias_release: {
      below_V: 60,
      discharge_s: null,
      cathodes_cold_s: 300,
      only_wire_between: true,
      ...release,
    },
  }
}

export interface Told {
  readonly t_s: number
  readonly output: SafeOffOutput
}

interface Play {
  readonly plan?: OffPlan
  /** The HT supply as it is found. */
  readonly ht?: Partial<FakeOutput>
  /** Ports that never answer. */
  readonly silent?: readonly string[]
  /** When the port of the HT supply can be opened; null = never. */
  readonly opens_s?: number | null
  readonly at_most_s?: number
  /** Which HT supply is known there; else whatever answers is believed. */
  readonly identity?: string
  /** Dead-man of the supply of heaters and bias. */
  readonly dead_man?: Dialect['dead_man']
  /** Time between two looks at the supplies, s; in longer ones all that is asked is answered at once, for a play of minutes. */
  readonly step_s?: number
  /** What the world does beside, once a step. */
  readonly meanwhile?: (t_s: number, supplies: { HTS: FakeSupply; LV: FakeSupply }) => void
}

const short_s = 0.02

/** Plays safe-off against two fake supplies, 20 ms at a time where not said otherwise, until it ends. */
export function play(given: Play = {}) {
  const step_s = given.step_s ?? short_s
  const poll_us = step_s > short_s ? step_s * 1e6 : 0
  const pace = poll_us > 0 ? { poll_us, reply_us: 2 * poll_us } : {}
  const LV = { ...testLine('LV', ['1', '2'], 60), ...pace }
  const configs = [
    { ...testLine('HTS', ['1'], 400), ...pace, identity: given.identity ?? null },
    { ...LV, dialect: { ...LV.dialect, dead_man: given.dead_man ?? null } },
  ]
  const on = { on: true, ignoresOff: false, keeps: 0 }
  const supplies = {
    HTS: new FakeSupply([{ ...on, volts: 250, amps: 0.04, keeps: 0.5, ...given.ht }]),
    LV: new FakeSupply([
      { ...on, volts: 12, amps: 1.2 },
      { ...on, volts: 50, amps: 0.002 },
    ]),
  }
  const supplyOf = (port: string): FakeSupply => (port === 'HTS' ? supplies.HTS : supplies.LV)
  const told: Told[] = []
  const offs: string[] = []
  const found: SafeOffResult[] = []
  const open = new Set<string>()
  let t_us = 0
  let waiting: { port: string; text: string }[] = []
  /** Volts at the HT terminals when the bias output went off. */
  let ht_at_bias_off_V: number | null = null
  const take = (outputs: readonly SafeOffOutput[]): void => {
    for (const output of outputs) {
      told.push({ t_s: t_us / 1e6, output })
      if (output.kind === 'end') found.push(output.result)
      if (output.kind !== 'write' || !open.has(output.port)) continue
      const supply = supplyOf(output.port)
      const before = supply.heard.length
      const replies = supply.receive(output.text)
      for (const said of supply.heard.slice(before)) {
        if (said.includes('OUTP OFF')) offs.push(`${output.port}.${said[0] ?? ''}`)
      }
      if (given.silent?.includes(output.port)) continue
      for (const reply of replies) waiting.push({ port: output.port, text: reply })
    }
  }
  const first = safeOffBegin(given.plan ?? offPlan(), configs, 0)
  let { state } = first
  const feed = (input: Parameters<typeof safeOffStep>[1]): void => {
    const turn = safeOffStep(state, input)
    state = turn.state
    take(turn.outputs)
  }
  const opens = (port: string): void => {
    open.add(port)
    feed({ kind: 'port', port, line: { kind: 'opened', t_us } })
  }
  const answer = (): void => {
    const replies = waiting
    waiting = []
    for (const { port, text } of replies) feed({ kind: 'port', port, line: { kind: 'text', t_us, text } })
  }
  take(first.outputs)
  const opens_s = given.opens_s === undefined ? 0 : given.opens_s
  if (opens_s === 0) opens('HTS')
  opens('LV')
  while (found.length === 0 && t_us < (given.at_most_s ?? 1500) * 1e6) {
    t_us += step_s * 1e6
    for (const supply of Object.values(supplies)) supply.pass(step_s)
    given.meanwhile?.(t_us / 1e6, supplies)
    if (!open.has('HTS')) {
      if (opens_s !== null && t_us >= opens_s * 1e6) opens('HTS')
      else if (t_us % 1_000_000 === 0)
        feed({ kind: 'port', port: 'HTS', line: { kind: 'closed', t_us, text: 'no such port' } })
    }
    answer()
    feed({ kind: 'tick', t_us })
    for (let more = poll_us > 0 ? 12 : 0; more > 0 && waiting.length > 0; more--) answer()
    if (ht_at_bias_off_V === null && supplies.LV.outputs[1]?.on === false)
      ht_at_bias_off_V = supplies.HTS.outputs[0]?.volts ?? null
  }
  const texts = (kind: 'alarm' | 'record'): string[] =>
    told.flatMap(({ output }) => (output.kind === kind ? [output.text] : []))
  return {
    result: found[0],
    told,
    alarms: texts('alarm'),
    records: texts('record'),
    offs: [...new Set(offs)],
    supplies,
    ht_at_bias_off_V,
    ended_s: t_us / 1e6,
  }
}
