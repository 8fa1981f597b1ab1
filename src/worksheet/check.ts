import { formatShort } from '../quantities/index.js'
import type { ColdCheck, ReadByVolts } from './types.js'

export const practice = 'common practice, no source'
export const ours = "slowglow's own choice, no published source"
/** What an ohmmeter shows as "open" or "OL" stands for as a number: beyond the range of any. */
export const open_ohm = 1e12
/** Nearer to a limit than this part of a window, or of a limit that stands alone, it is said (common practice, no source). */
const near = { window: 0.1, limit: 0.05 } as const

type Given = Pick<ColdCheck, 'item' | 'group' | 'what' | 'because' | 'source' | 'method' | 'meter'> &
  Partial<ColdCheck>

/** A reading with its window in words; what is not given is the usual. */
export function reading(unit: 'Ω' | 'V', given: Given): ColdCheck {
  const { low = null, high = null } = given
  return {
    kind: 'reading',
    unit,
    usual: null,
    ...nearTo(low, high),
    cautions: [],
    must: false,
    waivable: true,
    rails: [],
    parts: [],
    volts: null,
    ...given,
    low,
    high,
    wanted: windowWords(unit, low, high),
  }
}

function nearTo(low: number | null, high: number | null): Pick<ColdCheck, 'near_low' | 'near_high'> {
  if (low !== null && high !== null && low > 0) {
    const edge = near.window * (high - low)
    return { near_low: low + edge, near_high: high - edge }
  }
  return {
    near_low: low === null || low === 0 ? null : low * (1 + near.limit),
    near_high: high === null ? null : high * (1 - near.limit),
  }
}

/** Something seen or felt: good or bad. */
export function look(
  given: Omit<Given, 'group' | 'meter'> & { readonly group?: ColdCheck['group'] },
): ColdCheck {
  return {
    ...{ kind: 'look', unit: null, low: null, high: null, usual: null, near_low: null, near_high: null },
    ...{ cautions: [], must: false, waivable: true, rails: [], parts: [], volts: null },
    group: 'eyes and hands',
    meter: 'eyes and hands',
    ...given,
    wanted: 'good',
  }
}

export function windowWords(unit: 'Ω' | 'V', low: number | null, high: number | null): string {
  if (low !== null && high !== null && low > 0)
    return `${formatShort(low, unit)} to ${formatShort(high, unit)}`
  if (high !== null) return `${formatShort(high, unit)} at most`
  return low === null ? 'anything' : `${formatShort(low, unit)} or more, open too`
}

/** Test currents that a bench supply's limit is easily set to. */
const currents_A = [1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01] as const
/** Below this a meter's own leads are too large a part of what it shows. */
const small_ohm = 10

/**
 * How ohms are best read: small ones by a current that warms nothing and the volts right at the part, as leads and clips count for
 * as much as the part; others by ohmmeter. `carries_A`: what the part carries for ever; a tenth of that is sent through it.
 */
export function ohmsBy(
  usual_ohm: number,
  carries_A: number,
): { readonly method: string; readonly meter: string; readonly volts: ReadByVolts | null } {
  const A = currents_A.find((each) => each <= carries_A / 10 + 1e-9)
  if (usual_ohm >= small_ohm || A === undefined)
    return {
      method: usual_ohm < 1000 ? 'Ohmmeter; take off what it shows with its leads joined.' : 'Ohmmeter.',
      meter: 'ohmmeter (it tests with less than 0.5 V on the usual digital one, so that no diode conducts)',
      volts: null,
    }
  return {
    method: `Bench supply at its lowest volts, its current limit at ${formatShort(A, 'A')}, sent through; read volts right at the part, not at the supply's clips: ${formatShort(A * usual_ohm, 'V')} or so. Off at once after reading. Type ohms (volts over amps), or the volts.`,
    meter: 'supply with a current limit and a millivoltmeter (leads and clips then count for nothing)',
    volts: { by: 'current', A },
  }
}
