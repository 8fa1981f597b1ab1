import { formatShort } from '../quantities/index.js'
import { levelFigures, loadFigures, noiseFigures, withAccuracy } from '../rf/index.js'
import { heldAgainst, type Judgement, practice, type Proof, proofOf } from './types.js'

export const heardAs = ['not said', 'clear', 'with hum', 'distorted', 'noise alone'] as const
export type HeardAs = (typeof heardAs)[number]

export interface ReceiveReadings {
  readonly signal: 'AM' | 'CW'
  readonly frequency_Hz: number
  /** AM: how far the generator is modulated, and by which tone. */
  readonly depth: number
  readonly tone_Hz: number
  /** At the aerial terminals, effective volts into a matched load. */
  readonly level_V: number
  /** Audio with the signal (AM: modulated) and with the carrier alone (CW: without it). */
  readonly with_V: number
  readonly without_V: number
  /** What the loudspeaker gives of the signal, by ear. */
  readonly heard: HeardAs
  /** Audio across the load at full gain, and that load. */
  readonly audio: { readonly V: number; readonly ohm: number } | null
  /** Of the readings, relative. */
  readonly accuracy: number
}

/** What published figures are read with. */
const standard = { depth: 0.3, tones_Hz: [400, 1000], within: 0.1 } as const
const highest_Hz = 30e6
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
const standardSource = 'standard output 50 mW into a load equal to the speaker (published)'
/** Of the load into which levels are told. */
const input_ohm = 50

export function receiveProof(of: ReceiveReadings): Proof {
  const noise = withAccuracy([of.with_V, of.without_V], of.accuracy, ([a = 0, b = 1]) => noiseFigures(a, b))
  const level = withAccuracy([of.level_V], of.accuracy, ([V = 0]) =>
    levelFigures(V, input_ohm, of.frequency_Hz > highest_Hz),
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
    ...(of.signal === 'AM' ? asPublished(of) : []),
    byEar(of.heard),
    power[0] === undefined
      ? {
          verdict: 'marginal',
          text: `audio power was not read: ${formatShort(standard_W, 'W')} is the standard output`,
          source: standardSource,
        }
      : {
          verdict: heldAgainst(power[0], { least: standard_W }),
          text: `audio ${formatShort(power[0].value ?? 0, 'W')}, ${formatShort(standard_W, 'W')} is the standard output`,
          source: standardSource,
        },
  ]
  return proofOf({
    of: 'receive',
    what: `hearing ${of.signal} at ${formatShort(of.frequency_Hz, 'Hz')}${of.signal === 'AM' ? `, modulated ${formatShort(of.depth, 'ratio')} by ${formatShort(of.tone_Hz, 'Hz')}` : ''}`,
    figures: [...noise, ...level, ...power],
    judged,
  })
}

/** Meters read a hum and a clipped tone as well as a clear one. */
function byEar(heard: HeardAs): Judgement {
  return {
    verdict: heard === 'clear' ? 'shown' : heard === 'noise alone' ? 'not shown' : 'marginal',
    text:
      heard === 'not said'
        ? 'nobody said what is heard of it: a meter reads hum and distortion as well as the signal'
        : `by ear: ${heard === 'clear' ? 'the signal, clear' : heard === 'noise alone' ? 'noise, and no signal' : `the signal, ${heard}`}`,
    source: practice,
  }
}

/** Audio rises with the depth, so what is read with another is held against figures that it was not meant for. */
function asPublished({ depth, tone_Hz }: ReceiveReadings): Judgement[] {
  const near = (value: number, of: number): boolean => Math.abs(value / of - 1) <= standard.within
  if (near(depth, standard.depth) && standard.tones_Hz.some((each) => near(tone_Hz, each))) return []
  return [
    {
      verdict: 'marginal',
      text: `read with ${formatShort(depth, 'ratio')} at ${formatShort(tone_Hz, 'Hz')}; the figures that it is held against are for 30 % at 400 Hz: read again with those`,
      source: '30 % modulated by 400 Hz (published); 1000 Hz instead (from memory)',
    },
  ]
}
