import type { OffPlan } from '../plan/index.js'
import { change, give, hasAmps, isFresh, isHot, of, off_V, record, samples, us, volts } from './rails.js'
import { lastRead } from './heard.js'
import type { Draft, OffRail, RailOff, Sample } from './types.js'

/** What was below that and reads this much again has come back; between the two nothing is decided anew. */
const back_V = 10

/** Volts that stand so much higher than they have since OFF come from something: an output that is off raises none. Our choice. */
const risen_V = 0.5

/** Less than this may be an offset of the read-back, which does not fall. Our choice. */
const stands_V = 1

/**
 * Off read back, no current, and terminals below 5 V or falling as their discharge path predicts. A watched rail has no
 * output to read back: three samples of its meter below 5 V.
 */
export function confirm(d: Draft, rail: OffRail, plan: OffPlan): void {
  if (rail.class === 'hand') return
  const known = of(d.s, rail)
  if (typeof d.s.confirmed[rail.name] === 'string') {
    const why = cameBack(d, rail, known)
    if (why !== null) retract(d, rail, known, why)
    return
  }
  const { V, given_us } = known
  if (given_us === null || V === null || V.t_us <= given_us || !isFresh(d, plan, rail, V)) return
  if (rail.class === 'programmed' && known.down_us === null) return
  if (hasAmps(rail) && known.quiet < samples) return
  const how = known.gone >= samples ? below(rail, known, V) : fallsAsPredicted(d, rail, known, V)
  if (how === null) return
  d.s.confirmed = { ...d.s.confirmed, [rail.name]: how }
  change(d, rail, {
    confirmed_us: d.s.t_us,
    ...(rail.class === 'watched' ? { down_us: d.s.t_us } : {}),
  })
  const what = rail.class === 'programmed' ? 'output confirmed off' : 'confirmed down'
  record(d, rail.name, `${rail.name}: ${what} (${how}).`, {
    volts: V.value,
    after_s: (d.s.t_us - given_us) / 1e6,
  })
}

function below(rail: OffRail, known: RailOff, V: Sample): string | null {
  if (rail.class === 'programmed' && Math.abs(V.value) > (known.lowest_V ?? off_V) + risen_V) return null
  if (rail.class !== 'programmed') return `measured ${volts(V.value)} by its meter, three times`
  const still = stands(known, V) ? ', no lower than at OFF: a charge, or an output that is on after all' : ''
  return `read back as off, no current, measured ${volts(V.value)} at the supply's terminals${still}`
}

/**
 * Below what can harm, and as high as when its output was read back as off. A pass element that burnt through reads as off, and without
 * current where its lead is off: so does an output capacitor that only a read-back divider takes down. Nothing tells them apart, so both are named.
 */
function stands({ from }: RailOff, { value }: Sample): boolean {
  return Math.abs(value) >= stands_V && Math.abs(value) > 0.9 * Math.abs(from?.value ?? Infinity)
}

/**
 * Fallen by three read-back resolutions, still falling, and no slower than a third of the stated path: parts spread less
 * than that, and something slower is another path. No exponential: a decision comes out the same on every machine.
 */
function fallsAsPredicted(d: Draft, rail: OffRail, known: RailOff, now: Sample): string | null {
  const path = rail.expected_fall
  const earlier = known.fall[known.fall.length - 2]
  if (path === null || known.from === null || earlier === undefined) return null
  const from_V = Math.abs(known.from.value)
  const now_V = Math.abs(now.value)
  if (from_V - now_V < 3 * rail.resolution_V || now_V >= Math.abs(earlier.value)) return null
  if (now_V > allowed_V(rail, known, now.t_us)) return null
  return `read back as off, no current, ${volts(known.from.value)} at its terminals fallen to ${volts(now.value)} and falling as the stated discharge path predicts`
}

/** The most that a rail may still read while it falls as predicted. */
function allowed_V(rail: OffRail, known: RailOff, t_us: number): number {
  const path = rail.expected_fall
  if (path === null || known.from === null) return 0
  const t_s = Math.max(0, t_us - Math.max(known.from.t_us, known.down_us ?? 0)) / 1e6
  return slowDecay(Math.abs(known.from.value), t_s / (3 * path.ohm * path.F)) + 3 * rail.resolution_V
}

/** V·exp(−x), by (1 + x/64)^−64: never below the exponential, and only multiplications. */
function slowDecay(from_V: number, x: number): number {
  let factor = 1 + x / 64
  for (let i = 0; i < 6; i++) factor *= factor
  return from_V / factor
}

/** Read back as off, and lower than a second and a half before. */
function isFalling(d: Draft, rail: OffRail): boolean {
  const { fall, down_us } = of(d.s, rail)
  const now = fall[fall.length - 1]
  const earlier = fall[fall.length - 4]
  if (down_us === null || now === undefined || earlier === undefined) return false
  return Math.abs(now.value) < Math.abs(earlier.value) && d.s.t_us - now.t_us <= us(2)
}

/** Lower than as long ago as is kept: a charge that only a read-back divider takes loses less than a digit in a second and a half. */
export function fallsSlowly(d: Draft, rail: OffRail): boolean {
  const { fall, down_us } = of(d.s, rail)
  const [earliest] = fall
  const now = fall[fall.length - 1]
  if (down_us === null || now === undefined || earliest === undefined) return false
  return Math.abs(now.value) < Math.abs(earliest.value) && d.s.t_us - now.t_us <= us(2)
}

/** Falling, within the time computed for it: what the supply can do has been done. */
export function comesDown(d: Draft, rail: OffRail): boolean {
  const limit_V = allowed_V(rail, of(d.s, rail), d.s.t_us) - 3 * rail.resolution_V
  return isFalling(d, rail) && limit_V >= off_V
}

/** An output that reads as on again, volts or current that came back: what was confirmed no longer is. */
function cameBack(d: Draft, rail: OffRail, known: RailOff): string | null {
  if (rail.class === 'programmed' && known.down_us === null) return 'its output does not read back as off'
  if (hasAmps(rail) && known.loud >= samples) return 'current flows again'
  const now_V = Math.abs(known.V?.value ?? 0)
  if (now_V <= Math.max(back_V, allowed_V(rail, known, known.V?.t_us ?? 0))) return null
  return 'its volts came back or stopped falling'
}

function retract(d: Draft, rail: OffRail, known: RailOff, why: string): void {
  d.s.confirmed = { ...d.s.confirmed, [rail.name]: null }
  change(d, rail, {
    given_us: d.s.t_us,
    from: known.V,
    down_us: known.down_us === null || rail.class === 'watched' ? null : d.s.t_us,
    quiet: 0,
    gone: 0,
    low: 0,
    fall: [],
    lowest_V: null,
    confirmed_us: null,
    retracted: known.retracted + 1,
    escalations: 0,
    escalated_us: d.s.t_us,
  })
  const taken = `${rail.name}: no longer confirmed off: ${why} (${lastRead(d, rail)}).`
  if (rail.class === 'watched') {
    const text = `${rail.name} reads ${volts(known.V?.value ?? 0)} again: turn it down to zero by its knob now, one hand.`
    record(d, rail.name, taken)
    d.out.push({ do: 'alarm', rail: rail.name, text, turn_down: true })
  } else {
    record(d, rail.name, `${taken} Told again.`)
    give(d, [rail], isHot(rail) ? 'urgent' : 'run down')
  }
}
