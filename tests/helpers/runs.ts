import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { onTestFinished } from 'vitest'
import type { Plan } from '../../src/plan/index.js'
import type { Known, RunEnding, RunEntry, RunEvent } from '../../src/record/index.js'

/** A folder of this test's own, gone after it. */
export function folder(): string {
  const path = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  onTestFinished(() => rmSync(path, { recursive: true, force: true }))
  return path
}

/** A small plan of Tern Rock: one HT rail, two steps. */
export const plan: Plan = {
  format: 'slowglow plan 1',
  equipment: 'Tern Rock receiver',
  profile: 'receive bring-up',
  bench: 'boathouse bench',
  bench_kind: 'virtual',
  kind: 'receive',
  level: 3,
  hash: 'a'.repeat(64),
  prove_dead: [],
  wires: [],
  rails: {
    HT: {
      name: 'HT',
      role: 'HT',
      class: 'programmed',
      channels: [],
      volts_meter: null,
      amps_meter: null,
      positive: 'ht',
      negative: 'chassis',
      max_V: 250,
      bias: null,
      discharge: null,
      can: [],
      cannot: [],
    },
  },
  meters: {},
  hookup: [],
  unproved: ['receive sensitivity: no signal source on this bench'],
  steps: [1, 2].map((index) => ({
    index,
    stage: 'HT',
    mode: 'receive',
    do: 'raise',
    rail: 'HT',
    target_V: 60 * index,
    slew_V_per_s: 1,
    hold_s: 60,
    settle_within_s: 60,
    limits: {
      HT: {
        at_V: 60 * index,
        expected_A: 0.01 * index,
        lower_A: 0.008 * index,
        upper_A: 0.012 * index,
        ask_A: 0.005 * index,
        trip_A: 0.015 * index,
        ceiling_A: 0.05,
        charge_A: 0.001,
        supply_limit_A: 0.02 * index,
        over_voltage_V: 70 * index,
        because: [
          {
            limit: 'trip',
            value: 0.015 * index,
            unit: 'A',
            text: `trip ${15 * index} mA: upper end of the band and a quarter more`,
            source: 'common practice, no source',
          },
        ],
        sees: null,
      },
    },
    hookup: null,
    ask: null,
    nodes: {},
    soft_start_s: 0,
    needs_heaters: true,
    needs_bias: false,
    needs_plate: null,
    hands_clear: index === 2,
    expected_s: 120,
  })),
  rules: [
    {
      code: 'over-trip',
      text: 'current over the trip',
      warn: null,
      trip: null,
      for_s: 0.3,
      unit: 'A',
      source: 'starting value',
    },
  ],
  off: {
    format: 'slowglow off 1',
    channels: [],
    knobs: [],
    heaters_off_after_s: 30,
    stale_s: 1,
    bias_release: { below_V: 60, discharge_s: 12, cathodes_cold_s: 300, only_wire_between: true },
  },
  figures: {
    highest_V: 250,
    stored_J: 0.8,
    stored_where: 'C12',
    discharge_s: 12,
    hazards: ['lethal voltage present'],
    unattended: false,
  },
  heaters: [],
  time_budget_s: 3600,
  prompt_timeout_s: 600,
  expected_s: 240,
  stale_s: 1,
}

export const known: Known = {
  run: '20261101-101500-tern-rock-receiver-00ff',
  started: '2026-11-01T10:15:00.000Z',
  version: '0.1.0',
  command: 'rehearse',
  plan,
  files: { 'receive.yaml': 'kind: receive\n', 'set.yaml': 'name: Tern Rock receiver\n' },
  identities: { HT: 'virtual supply' },
  seed: 7,
  faults: ['C12:short@HT>100V'],
}

export function event(t_us: number, more: Partial<RunEvent> = {}): RunEntry {
  return {
    entry: 'event',
    event: {
      t_us,
      from: 'rehearsal',
      what: 'step',
      text: 'step 1',
      rail: null,
      step: null,
      intent: null,
      data: {},
      durable: true,
      ...more,
    },
  }
}

export const tripped: RunEnding = {
  outcome: 'tripped',
  outputs_off: 'confirmed',
  reason: {
    code: 'over-trip',
    rail: 'HT',
    step: 2,
    measured: 0.041,
    limit: 0.03,
    unit: 'A',
    text: 'HT current 41 mA was over its trip of 30 mA for 0.3 s',
  },
  stored_charge: { b1: { volts: 3.2, meter: 'meter 1', age_s: 0.4 }, b2: 'not measured' },
  hand_rails: {},
  warnings: ['HT current was near its upper band in step 1'],
  steps_done: 1,
  duration_s: 95.5,
  details: {
    off: { HT: { confirmed: true, volts: 2.1, how: 'OFF read back, current zero for 3 samples, 2.1 V' } },
    bias_released_by: 'every plate and screen node below 60 V',
  },
}

/** A whole small run: heaters are taken as warm, HT goes to 60 V, on to 120 V, and trips. */
export function smallRun(): RunEntry[] {
  const entries: RunEntry[] = [
    { entry: 'known', known },
    { entry: 'stream', stream: { id: 1, name: 'HT.V', unit: 'V', rail: 'HT', resolution: 0.01 } },
    { entry: 'stream', stream: { id: 2, name: 'HT.A', unit: 'A', rail: 'HT', resolution: 0.0001 } },
    event(0, {
      what: 'begin',
      text: 'cautions acknowledged',
      data: { word: 'bleeder', channel: 'terminal' },
    }),
    event(1000, { what: 'step', text: 'HT to 60 V', step: 1, rail: 'HT' }),
  ]
  for (let i = 0; i < 900; i++) {
    const t_us = 100_000 * (i + 1)
    entries.push({ entry: 'tick', t_us, late_us: 0, slept_us: 0 })
    entries.push({ entry: 'reading', stream: 1, t_us: t_us + 310, n: Math.min(6000, i * 10), k: 2 })
    entries.push({ entry: 'reading', stream: 2, t_us: t_us + 620, n: Math.min(101, i), k: 4 })
  }
  entries.push(event(91_000_000, { what: 'step', text: 'HT to 120 V', step: 2, rail: 'HT' }))
  entries.push({ entry: 'reading', stream: 1, t_us: 92_000_000, n: 8000, k: 2 })
  entries.push({ entry: 'reading', stream: 2, t_us: 92_000_200, n: 410, k: 4 })
  entries.push(event(92_000_300, { what: 'trip', text: 'over-trip on HT', rail: 'HT', step: 2 }))
  entries.push({ entry: 'ending', t_us: 95_500_000, ending: tripped })
  return entries
}

/** The same with a roll-up closed in each stream, and more readings after it. */
export function rolledUpRun(): RunEntry[] {
  const [first, ...rest] = smallRun()
  const readings = Array.from({ length: 8500 }, (_, i): RunEntry[] => {
    const t_us = 100_000_000 + i * 100_000
    return [
      { entry: 'tick', t_us, late_us: 0, slept_us: 0 },
      {
        entry: 'reading',
        stream: 1,
        t_us: t_us + 310,
        n: 8000 + ((i * 7919) % 13) - (i === 4321 ? 900 : 0),
        k: 2,
      },
      { entry: 'reading', stream: 2, t_us: t_us + 620, n: 90 + ((i * 31) % 7), k: 4 },
      ...(i % 1000 === 0 ? [event(t_us, { what: 'judgement', text: `at ${i}`, durable: false })] : []),
    ]
  }).flat()
  return first === undefined ? [] : [first, ...rest.slice(0, -1), ...readings, ...rest.slice(-1)]
}
/** Added to the kept file of format 2. */
export const keptNote = { written: '2026-11-29T02:00:00Z', by: 'the bench', text: 'C12 replaced since.' }
