import { formatShort } from '../quantities/index.js'
import { levelFigures, loadFigures, noiseFigures, withAccuracy } from '../rf/index.js'
import { heldAgainst, type Judgement, practice, type Proof, proofOf } from './types.js'

export interface ReceiveReadings {
  readonly signal: 'AM' | 'CW'
  /** At the aerial terminals, effective volts into a matched load. */
  readonly level_V: number
  /** Audio with the signal (AM: modulated) and with the carrier alone (CW: without it). */
  readonly with_V: number
  readonly without_V: number
  /** Audio across the load at full gain, and that load. */
  readonly audio: { readonly V: number; readonly ohm: number } | null
  readonly above_30_MHz: boolean
  /** Of the readings, relative. */
  readonly accuracy: number
}

/** At this (S+N)/N a level counts as heard (field manuals, published second-hand). */
const heard_dB = 10
const good = {
  AM: 2.5e-6,
  CW: 1e-6,
  source:
    'good tube receivers: about 2.5 µV AM, 1 µV CW at 10 dB (S+N)/N (field manuals, published second-hand)',
} as const
/** Where one begins (common practice, no source); a set that needs more does not hear. */
const begin_V = 100e-6
/** Standard output of a sensitivity measurement. */
const standard_W = 0.05
/** Of the load into which levels are told. */
const input_ohm = 50

export function receiveProof(of: ReceiveReadings): Proof {
  const noise = withAccuracy([of.with_V, of.without_V], of.accuracy, ([a = 0, b = 1]) => noiseFigures(a, b))
  const level = withAccuracy([of.level_V], of.accuracy, ([V = 0]) =>
    levelFigures(V, input_ohm, of.above_30_MHz),
  )
  const { audio } = of
  const power =
    audio === null
      ? []
      : withAccuracy([audio.V], of.accuracy, ([V = 0]) => loadFigures(V, 'rms', audio.ohm)).slice(0, 1)
  const ratio = noise[0]
  const clear = heldAgainst(ratio, { least: heard_dB })
  const best_V = good[of.signal]
  const judged: Judgement[] = [
    {
      verdict: clear,
      text: `(S+N)/N ${ratio?.value?.toFixed(1) ?? 'without end'} dB at ${formatShort(of.level_V, 'V')}, ${heard_dB} dB wanted`,
      source:
        'noise read with the carrier on, about 10 dB (field manuals, published second-hand); 30 % at 400 Hz for AM',
    },
    clear === 'not shown'
      ? {
          verdict: 'not shown',
          text: `what it hears at 10 dB is not known: raise the generator from ${formatShort(of.level_V, 'V')} until it does`,
          source: good.source,
        }
      : {
          verdict:
            of.level_V > begin_V
              ? 'not shown'
              : heldAgainst(level[0], { most: best_V }) === 'not shown'
                ? 'marginal'
                : heldAgainst(level[0], { most: best_V }),
          text: `heard at ${formatShort(of.level_V, 'V')}; good ${of.signal} receivers of tubes hear ${formatShort(best_V, 'V')}${of.level_V > best_V ? ': lower the generator until 10 dB is left' : ''}`,
          source: `${good.source}; ${formatShort(begin_V, 'V')} to begin with: ${practice}`,
        },
    ...(power[0] === undefined
      ? []
      : [
          {
            verdict: heldAgainst(power[0], { least: standard_W }),
            text: `audio ${formatShort(power[0].value ?? 0, 'W')}, ${formatShort(standard_W, 'W')} is the standard output`,
            source: 'standard output 50 mW into a load equal to the speaker (published)',
          },
        ]),
  ]
  return proofOf({
    of: 'receive',
    what: `hearing ${of.signal}`,
    figures: [...noise, ...level, ...power],
    judged,
  })
}
