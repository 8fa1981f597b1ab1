import { chmodSync, readFileSync, writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import type { Bench, DeadMan } from '../../src/bench/index.js'
import { qualificationFile } from '../../src/files/index.js'
import {
  type ChannelFigures,
  type Qualification,
  qualifiedBench,
  withChannel,
} from '../../src/qualify/index.js'

/** The demo's bench as unattended work wants it: a dead-man in the supply of HT, every output qualified. */

export const dead_man: DeadMan = {
  arm: [':OUTP:DMAN:TIME {s}', ':OUTP:DMAN:STAT ON'],
  feed: ':OUTP:DMAN:FEED',
  after_s: 4,
  per: 'supply',
  disarm: [':OUTP:DMAN:STAT OFF'],
  ask_time: ':OUTP:DMAN:TIME?',
  ask_armed: ':OUTP:DMAN:STAT?',
  ask_expired: ':OUTP:DMAN:TRIP?',
}
const written = `    dialect:
      based_on: plain SCPI
      name: plain SCPI with a dead-man
      dead_man:
        arm: [":OUTP:DMAN:TIME {s}", ":OUTP:DMAN:STAT ON"]
        feed: ":OUTP:DMAN:FEED"
        after: 20 s
        per: supply
        disarm: ":OUTP:DMAN:STAT OFF"
        ask_time: ":OUTP:DMAN:TIME?"
        ask_armed: ":OUTP:DMAN:STAT?"
        ask_expired: ":OUTP:DMAN:TRIP?"
`

/** Nothing but its proof of the current limit: every figure is left to the bench file. */
export const figures: ChannelFigures = {
  levels: [],
  accuracy_V: null,
  accuracy_A: null,
  noise_V: null,
  noise_A: null,
  resolution_V: null,
  resolution_A: null,
  settling_s: null,
  overshoot_V: null,
  slew_V_per_s: null,
  poll_s: null,
  poll_longest_s: null,
  jitter_s: null,
  off_s: null,
  down_s: null,
  output_F: null,
  sinks: { value: null, how: 'not measured' },
  proofs: [{ of: 'current limit', verdict: 'as it should', said: true, after_s: 0.2, text: 'held' }],
}

export function qualification(
  channels: readonly string[],
  date: string,
  change: Readonly<
    Record<string, { readonly identity?: string; readonly figures?: ChannelFigures; date?: string }>
  > = {},
): Qualification {
  let all: Qualification | null = null
  for (const channel of channels) {
    const order = {
      channel,
      load: { ohm: 4700, tolerance: 0.01, rated_W: 50 },
      top_V: 60,
      meter: null,
      skip: [],
    }
    all = withChannel(all, 'a bench', order, {
      date,
      slowglow: '0.1.0',
      run: 'x',
      identity: '',
      figures: structuredClone(figures),
      ...change[channel],
    })
  }
  if (all === null) throw new Error('no channel')
  return all
}

export const outputs = ['high.out', 'low.heaters', 'low.bias']

/** `lacking`: outputs that nobody measured. */
export function fitBench(bench: Bench, lacking: readonly string[] = []): Bench {
  const { high } = bench.supplies
  if (high === undefined) throw new Error('no supply of that name')
  const supplies = { ...bench.supplies, high: { ...high, dialect: { ...high.dialect, dead_man } } }
  const measured = outputs.filter((channel) => !lacking.includes(channel))
  return qualifiedBench({ ...bench, supplies }, qualification(measured, '2026-06-01'), '2026-09-01')
}

/** The forming bench of the demo in this folder as unattended work wants it: a dead-man, a cut-off relay, qualified today, these alerts. */
export function fitFormingFiles(folder: string, alerts: string): void {
  const at = join(folder, 'reform-bench.yaml')
  const high = '  high:\n    line: { kind: virtual, as: pty }\n'
  const text = readFileSync(at, 'utf8').replace(high, `${high}${written.replace('20 s', '60 s')}`)
  const relay = 'cut_off: { line: { kind: virtual, as: pty }, feed: ":REL:FEED?", after: 60 s, cuts: [high] }'
  writeFileSync(at, `${text}\n${relay}\nalerts:\n${alerts}\n`)
  const today = new Date().toISOString().slice(0, 10)
  writeFileSync(
    join(folder, 'reform-bench.qualification.yaml'),
    qualificationFile(qualification(['high.out'], today)),
  )
}

/** Stands in for the system's own, which needs a login service that no test machine has. */
export function fakeInhibitor(folder: string, script: string): Record<string, string> {
  const program = join(folder, 'systemd-inhibit')
  writeFileSync(program, `#!/bin/sh\n${script}\n`)
  chmodSync(program, 0o755)
  return { PATH: `${folder}:${process.env['PATH'] ?? ''}` }
}
export const grantsSleepHold = 'while [ "$1" != sh ]; do shift; done; exec "$@"'

/** The same as files in a folder: bench, its qualification of today, and the short profile with `unattended: true`. */
export function fitFiles(
  folder: string,
  more: { readonly alerts?: string; readonly dead_man?: boolean; readonly timer?: boolean } = {},
): string {
  const set = resolve('profiles/tern-rock/equipment.yaml')
  const high = '  high:\n    line: { kind: virtual, as: pty }\n'
  const bench = readFileSync('profiles/tern-rock/bench.yaml', 'utf8')
    .replace('equipment: equipment.yaml', `equipment: ${set}`)
    .replace(high, more.dead_man === false ? high : `${high}${written}`)
  writeFileSync(
    join(folder, 'bench.yaml'),
    `${bench}\n${more.timer === true ? 'outside_timer: { shortest: 1 min, cuts: [high] }\n' : ''}${more.alerts === undefined ? '' : `alerts:\n${more.alerts}\n`}`,
  )
  const today = new Date().toISOString().slice(0, 10)
  writeFileSync(join(folder, 'bench.qualification.yaml'), qualificationFile(qualification(outputs, today)))
  const profile = readFileSync('tests/helpers/short/receive.yaml', 'utf8')
    .replace('../../../profiles/tern-rock/equipment.yaml', set)
    .replace('../../../profiles/tern-rock/bench.yaml', 'bench.yaml')
    .replace('mode: receive\n', 'mode: receive\nunattended: true\n')
  writeFileSync(join(folder, 'short.yaml'), profile)
  return join(folder, 'short.yaml')
}
