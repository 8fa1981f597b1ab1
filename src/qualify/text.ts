import type { TakenOutput } from '../bench/index.js'
import { formatShort } from '../quantities/index.js'
import { isAgainst, isAsStated } from './document.js'
import type { ChannelFigures, Figure } from './types.js'

/* A qualification as a person reads it. */

const rows: readonly (readonly [keyof ChannelFigures, string])[] = [
  ['accuracy_V', 'Volts read-back, error'],
  ['accuracy_A', 'Amps read-back, error'],
  ['noise_V', 'Volts, noise'],
  ['noise_A', 'Amps, noise'],
  ['resolution_V', 'Volts, steps seen'],
  ['resolution_A', 'Amps, steps seen'],
  ['settling_s', 'Settling'],
  ['overshoot_V', 'Overshoot'],
  ['slew_V_per_s', 'Slew of its own'],
  ['poll_s', 'A reading every'],
  ['jitter_s', '  and later by'],
  ['poll_longest_s', '  at the longest'],
  ['off_s', 'From our OFF to no drive'],
  ['down_s', 'From our OFF to measured off'],
  ['output_F', 'Output capacitor'],
]

export function figureWords(figure: Figure): string {
  const { value, unit, uncertainty, bound } = figure
  const room = uncertainty > 0 ? ` ± ${formatShort(uncertainty, unit)}` : ''
  return `${bound === undefined ? '' : `${bound} `}${formatShort(value, unit)}${room}`
}

export function qualificationText(channel: string, figures: ChannelFigures): string {
  const lines = [`What was measured of ${channel}:`]
  for (const [key, words] of rows) {
    const figure = figures[key]
    const known = figure !== null && typeof figure === 'object' && 'unit' in figure ? figure : null
    lines.push(
      known === null
        ? `  ${words.padEnd(30)} not measured`
        : `  ${words.padEnd(30)} ${figureWords(known)} (${known.how})`,
    )
  }
  const { sinks } = figures
  lines.push(
    `  ${'Takes current back'.padEnd(30)} ${sinks.value === null ? 'not known' : sinks.value ? 'yes' : 'no'} (${sinks.how})`,
  )
  for (const proof of figures.proofs) {
    const after = proof.after_s === null ? '' : `, ${formatShort(proof.after_s, 's')} after it was told`
    lines.push(`  ${`Proof: ${proof.of}`.padEnd(30)} ${proof.verdict}${after}`)
    for (const taken of proof.outputs ?? [])
      lines.push(`  ${`  ${taken.channel}, beside it`.padEnd(30)} ${takenWords(taken)}`)
  }
  return lines.join('\n')
}

/** Proofs that came out against the supply: a finding, whatever else was well. */
export function against(figures: ChannelFigures): readonly string[] {
  return figures.proofs.flatMap((proof) => [
    ...(isAgainst(proof) ? [`${proof.of}: ${proof.verdict}`] : []),
    ...(proof.outputs ?? []).flatMap((taken) =>
      isAsStated(taken) ? [] : [`${proof.of}: ${taken.channel} ${takenWords(taken)}`],
    ),
  ])
}

function takenWords(taken: TakenOutput): string {
  const did = taken.did === 'not clear' ? 'did not show clearly whether it went' : taken.did
  const stated = taken.stated === 'goes' ? 'takes every output' : 'takes the one output alone'
  return isAsStated(taken)
    ? `${did}, as stated`
    : `${did}, though its dialect says that the dead-man ${stated}`
}
