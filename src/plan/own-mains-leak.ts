import { show } from '../limits/index.js'

/** Of exposed metal that nothing earths, through what stands for a body: published, 1.5 kΩ beside 0.15 µF, 0.75 V at most. */
export const hotCheck = {
  ohm: 1500,
  F: 0.15e-6,
  most_V: 0.75,
  source: 'published: 1.5 kΩ with 0.15 µF across it to a true earth, 0.75 V RMS (0.5 mA) at most',
} as const

/** Milliamperes that these volts across it stand for, at a mains frequency. */
export function hotCheck_A(volts: number, Hz: number): number {
  const S = 2 * Math.PI * Hz * hotCheck.F
  const G = 1 / hotCheck.ohm
  return volts * Math.sqrt(G * G + S * S)
}

/** Its earth stays on while mains are on it, so what flows into a body instead is not read here: said, and what was read cold. */
export const leakUnread = `Its cord does not earth it, and its leakage current with mains on it was not read: the reading (${show(hotCheck_A(hotCheck.most_V, 50), 'A')} at most; ${hotCheck.source}) wants its own earth off, and a chassis that may be live keeps its earth here. The cold reading "mains insulation" is what stands for it.`
