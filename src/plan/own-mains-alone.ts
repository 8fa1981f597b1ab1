import type { Equipment } from '../equipment/index.js'
import { show } from '../limits/index.js'
import { idle_A, idleGuess, noLoad_A } from './own-mains-expect.js'
import { type Amps, type OwnSteps, senses, unplugged } from './own-mains-steps.js'

const practice = 'common practice, no source'
const parts = [0.25, 0.5, 0.75, 1] as const
const holds_s = { each: 60, full: 900 } as const
/** A winding is read at these volts or less. */
const winding_V = 50
/** How far a magnetising current may be off before it is a shorted turn, which takes many times as much (our choice). */
const idleTrip = 2.5
/** How far the volts of a winding may be off (common practice, no source). */
const within = 0.1

/** The transformer by itself: every tube out, nothing on its windings. */
export function aloneSteps(to: OwnSteps): void {
  const { equipment, own, stage } = to.of
  const full_A = idle_A(to.of)
  const known = own.no_load_A
  const most_A = known === undefined ? idleGuess.most * own.fuse_A : idleTrip * full_A
  const turns = 'A shorted turn takes many times that at a quarter of the volts already'
  const amps = (part: number): Amps => ({
    expected_A: noLoad_A(full_A, part),
    // Of what was guessed nothing is told but what passes.
    upper_A: known === undefined ? Infinity : 1.5 * noLoad_A(full_A, part),
    trip_A: most_A * Math.max(noLoad_A(1, part), 0.15),
    fuse_A: own.fuse_A,
    text:
      known === undefined
        ? `not stated, so some ${show(full_A, 'A')} at full volts, a tenth of its fuse; up to ${show(most_A, 'A')} passes. ${turns}`
        : `${show(known.value, 'A')} at full volts with nothing on it, less below. ${turns}`,
    source: known === undefined ? practice : known.source,
  })
  const name = stage.name
  for (const [winding, V] of Object.entries(own.windings)) {
    const part = Math.min(0.25, winding_V / V)
    to.confirm(
      `${name}: ${winding}`,
      `${unplugged}; measure before touching. Clip a voltmeter on AC, rated for ${show(V, 'V')}, across ${winding}${noteOf(equipment, winding)}, both ends lifted and clear of all else. Take your hands out, plug in, switch on, then confirm.`,
      true,
    )
    to.raise(`${name}: ${winding}`, part, 5, amps(part))
    to.reading(
      `${name}: ${winding}`,
      `Read the AC volts of ${winding} on the meter that is clipped on: ${show(part * V, 'V')} is expected at ${show(part * own.volts, 'V')} of mains. Less is shorted turns or a wrong tap, more a wrong tap. No hand goes in.`,
      'own mains winding',
      {
        ...{ kind: 'reading', node: null, rail: windingRail(winding), unit: 'V' },
        low: (1 - within) * part * V,
        high: (1 + within) * part * V,
      },
    )
    to.down(`${name}: ${winding}`)
  }
  to.confirm(
    `${name}: meters off`,
    `${unplugged}. Take the voltmeter off; every end of every winding lies clear and insulated. Take your hands out, plug in, switch on, then confirm.`,
    true,
  )
  for (const part of parts) {
    to.raise(
      `${name}: ${show(part, 'ratio')} of mains`,
      part,
      part < 1 ? holds_s.each : (stage.hold_s ?? holds_s.full),
      amps(part),
    )
    to.confirm(`${name}: ${show(part, 'ratio')} of mains`, senses, false)
  }
  to.down(`${name}: down`)
  to.confirm(
    `${name}: heat`,
    `${unplugged}; measure before touching. Is the core no more than hand-warm all round, with nothing run out of it?`,
    true,
  )
}

/** What the readings of a winding go by: the volts that it shows. */
export const windingRail = (winding: string): string => `winding ${winding}`

function noteOf({ parts: all }: Equipment, winding: string): string {
  const note = all[winding]?.note
  return note === undefined ? '' : ` (${note})`
}
