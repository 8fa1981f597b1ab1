import type { Bench, Channel, Measured } from '../bench/index.js'
import { isAgainst, type Qualification, type QualifiedChannel } from './document.js'
import type { Figure } from './types.js'

/* What a qualification changes about a bench: each figure of its file, taken from what was measured. */

/** Older than this a qualification no longer improves a figure. Common practice for calibration, no source. */
export const old_days = 365

const day_ms = 86_400_000

/** The bench with measured figures where they count, and for every channel what is known of it and how. */
export function qualifiedBench(bench: Bench, found: Qualification | null, today: string): Bench {
  const measured: Record<string, Measured> = {}
  const supplies = Object.fromEntries(
    Object.entries(bench.supplies).map(([port, supply]) => {
      const identity = supply.identity ?? learnt(port, supply.channels, found, today)
      const channels = Object.fromEntries(
        Object.entries(supply.channels).map(([name, channel]) => {
          const own = `${port}.${name}`
          const entry = found?.channels[own]
          const judged = judge(entry, identity, today)
          measured[own] = judged
          if (entry === undefined || (judged.state !== 'measured' && judged.state !== 'old'))
            return [name, channel]
          return [name, applied(channel, entry, judged.state)]
        }),
      )
      return [port, { ...supply, identity, channels }]
    }),
  )
  return { ...bench, supplies, measured }
}

/**
 * Where the bench file names none, the supply measured last is the one that must answer; channels measured on another one
 * are foreign to it, as if the file had named it.
 */
function learnt(
  port: string,
  channels: Readonly<Record<string, Channel>>,
  found: Qualification | null,
  today: string,
): string | null {
  const fresh = Object.keys(channels).flatMap((name) => {
    const entry = found?.channels[`${port}.${name}`]
    if (entry === undefined || entry.identity === '') return []
    const { state } = judge(entry, null, today)
    return state === 'measured' || state === 'failed' ? [entry] : []
  })
  return (
    fresh.reduce<QualifiedChannel | null>(
      (last, entry) => (last === null || Date.parse(entry.date) > Date.parse(last.date) ? entry : last),
      null,
    )?.identity ?? null
  )
}

function judge(entry: QualifiedChannel | undefined, identity: string | null, today: string): Measured {
  if (entry === undefined) return { ...nothing, state: 'none', date: null }
  const { date, figures } = entry
  if (identity !== null && entry.identity !== identity)
    return { ...nothing, state: 'foreign', date, identity: entry.identity }
  // Time mends nothing.
  if (entry.failed !== undefined)
    return { ...nothing, state: 'failed', date, identity: entry.identity, failed: entry.failed.text }
  return {
    state: isOld(date, today) ? 'old' : 'measured',
    date,
    identity: entry.identity,
    off_s: most(figures.off_s),
    poll_s:
      figures.poll_s === null
        ? null
        : Math.max(most(figures.poll_s) ?? 0, figures.poll_longest_s?.value ?? 0),
    overshoot_V: most(figures.overshoot_V),
    proofs: figures.proofs.map((proof) => {
      const { of, verdict, date: on, outputs } = proof
      // What was proved a year before the rest no longer counts; what was found against it does.
      const counts = on === undefined || isAgainst(proof) || !isOld(on, today)
      return {
        of,
        verdict: counts ? verdict : 'not proved',
        ...(on !== undefined && { date: on }),
        ...(outputs !== undefined && { outputs }),
      }
    }),
  }
}

/** A date that lies ahead tells nothing of its age. */
function isOld(date: string, today: string): boolean {
  const days = (Date.parse(today) - Date.parse(date)) / day_ms
  return !(days <= old_days && days >= -1)
}

const nothing = { identity: null, off_s: null, poll_s: null, overshoot_V: null, proofs: [] }

const most = (figure: Figure | null): number | null =>
  figure === null ? null : figure.value + (figure.bound === 'at most' ? 0 : figure.uncertainty)

/** A fresh one replaces what the file states; an old one only where it is worse than that. */
function applied(channel: Channel, { figures }: QualifiedChannel, state: 'measured' | 'old'): Channel {
  const { levels, accuracy_V, accuracy_A, noise_V, noise_A, output_F, overshoot_V, sinks } = figures
  const over_V = most(overshoot_V)
  const F = output_F === null || output_F.bound !== undefined ? null : output_F
  return {
    ...channel,
    accuracy_V: errorOf(channel.accuracy_V, worst(levels.map(({ read_V }) => read_V)), accuracy_V, noise_V),
    accuracy_A: errorOf(channel.accuracy_A, worst(levels.map(({ read_A }) => read_A)), accuracy_A, noise_A),
    output_F:
      F === null
        ? channel.output_F
        : state === 'measured'
          ? F.value + F.uncertainty
          : Math.max(channel.output_F, F.value),
    over_voltage_margin_V: Math.max(channel.over_voltage_margin_V, over_V === null ? 0 : 1.5 * over_V),
    sinks: state === 'measured' ? (sinks.value ?? channel.sinks) : channel.sinks,
  }
}

/**
 * The stated error stands unless it was disproved: an error beyond it that the measurement's own uncertainty cannot explain
 * widens it by as much. It is never made smaller: three points on one load do not prove a whole range. Noise widens its fixed part.
 */
function errorOf(
  stated: Channel['accuracy_V'],
  at: number,
  found: Figure | null,
  noise: Figure | null,
): Channel['accuracy_V'] {
  const allowed = stated.plus + stated.of_reading * at
  const beyond = found === null ? 0 : Math.max(0, found.value - found.uncertainty - allowed)
  const noisy = noise === null ? 0 : 3 * noise.value
  return { of_reading: stated.of_reading, plus: Math.max(stated.plus, noisy) + beyond }
}

const worst = (values: readonly number[]): number => Math.max(0, ...values)
