/**
 * Seeded chance: the same seed gives the same numbers on every machine, so that bands, virtual sets and simulations repeat.
 * Generator: splitmix32-seeded xorshift128 (public-domain constructions; from memory).
 */
export interface Chance {
  /** Uniform in [0, 1). */
  next(): number
  /** Standard normal (polar method). */
  normal(): number
  /** A generator of its own, named, that does not disturb this one. */
  fork(name: string): Chance
}

export function chance(seed: number): Chance {
  let mixed = seed | 0
  const mix = (): number => {
    mixed = (mixed + 0x9e3779b9) | 0
    let z = mixed
    z = Math.imul(z ^ (z >>> 16), 0x85ebca6b)
    z = Math.imul(z ^ (z >>> 13), 0xc2b2ae35)
    return (z ^ (z >>> 16)) >>> 0
  }
  const [x, y, z, w] = [mix(), mix(), mix(), mix() || 1]
  // Whole numbers of 32 bits stay what they are in such an array: a number of its own is made for none of them.
  const state = Uint32Array.of(x, y, z, w)
  let spare: number | null = null
  const next = (): number => {
    const first = state[0] ?? 0
    const last = state[3] ?? 0
    const t = first ^ (first << 11)
    const next = (last ^ (last >>> 19) ^ t ^ (t >>> 8)) >>> 0
    state[0] = state[1] ?? 0
    state[1] = state[2] ?? 0
    state[2] = last
    state[3] = next
    return next / 4294967296
  }
  return {
    next,
    normal() {
      if (spare !== null) {
        const kept = spare
        spare = null
        return kept
      }
      for (;;) {
        const a = 2 * next() - 1
        const b = 2 * next() - 1
        const s = a * a + b * b
        if (s > 0 && s < 1) {
          const scale = Math.sqrt((-2 * Math.log(s)) / s)
          spare = b * scale
          return a * scale
        }
      }
    },
    fork: (name) => chance(hash(name) ^ Math.imul(seed | 0, 0x27d4eb2f)),
  }
}

/** FNV-1a over UTF-16 units. */
function hash(text: string): number {
  let h = 0x811c9dc5
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 0x01000193)
  return h | 0
}
