import { type NemesisKind, OneThing } from './nemesis.js'
import type { Part } from './parts.js'
import { type Simulated, simulateWith } from './simulation.js'

/** What a call can come to on the lines' ports, and on the recorder's and the disk behind it. */
export const lineCalls = [
  'port refuses',
  'drop to supply',
  'drop to controller',
  'garble to controller',
  'delay to controller',
] as const satisfies readonly NemesisKind[]
export const recordCalls = [
  'record late',
  'record port closes',
  'disk full',
  'disk slow',
] as const satisfies readonly NemesisKind[]
export const callKinds = [...lineCalls, ...recordCalls] as const
export type CallKind = (typeof callKinds)[number]
export const callWays = ['once', 'for good'] as const
export type Way = (typeof callWays)[number]

/** A connection that closed stays closed, and a file that once took nothing is not written any more: those do not pass. */
export const waysOf = (kind: CallKind): readonly Way[] =>
  kind === 'record port closes' || kind === 'disk full' ? ['for good'] : callWays

/** Fails the n-th call of one kind, once or from there on, and nothing else. */
class NthCall extends OneThing {
  /** What each call of the kind was, in order. */
  readonly calls: string[] = []

  constructor(
    private readonly kind: CallKind,
    private readonly n: number,
    private readonly way: Way,
  ) {
    super()
  }

  hits(kind: NemesisKind, t_us: number, what = ''): boolean {
    if (kind !== this.kind) return false
    this.calls.push(what)
    const n = this.calls.length
    if (this.way === 'once' ? n !== this.n : n < this.n) return false
    this.did(`${this.way}: ${kind}`, t_us)
    return true
  }
  /** Once, a confirmation comes 5 s late and a reply 2 s; for good, later than anybody waits. */
  between(of: string, _least_us: number, most_us: number): number {
    if (this.way === 'for good') return most_us
    return of === 'record' ? 5_000_000 : 2_000_000
  }
  dice(of: string): number {
    // The middle character becomes a question mark; no fault of the set is drawn.
    return of === 'garble' ? 0.5 : 0.3
  }
}

export interface FailedCall {
  readonly kind: CallKind
  readonly way: Way
  readonly n: number
  readonly what: string
  readonly run: Simulated
}

/** Calls of this kind in a run that nothing happens to, in order. */
export function callsOf(
  parts: Part,
  kind: CallKind,
): { readonly calls: readonly string[]; readonly how: string; readonly virtual_s: number } {
  const nobody = new NthCall(kind, Infinity, 'once')
  const { how, virtual_s } = simulateWith(parts, 1, nobody)
  return { calls: nobody.calls, how, virtual_s }
}

/** The run whose n-th call of this kind fails. */
export function failCall(parts: Part, kind: CallKind, n: number, way: Way): FailedCall {
  const nemesis = new NthCall(kind, n, way)
  const run = simulateWith(parts, 1, nemesis)
  return { kind, way, n, what: nemesis.calls[n - 1] ?? '', run }
}

/** Some calls, evenly over the run: replies are mostly figures, and which of them it is only its moment tells. */
export function spread(calls: readonly string[], count: number): number[] {
  const stride = Math.max(1, Math.floor(calls.length / count))
  return calls.flatMap((_, i) => (i % stride === 0 ? [i + 1] : []))
}

/** Of calls that differ in their figures only, the first: its number counts from 1. */
export function firstOfEach(calls: readonly string[]): number[] {
  const seen = new Set<string>()
  return calls.flatMap((what, i) => {
    const shape = what.replace(/[0-9.+-]+(E[+-]?[0-9]+)?/g, '#')
    if (seen.has(shape)) return []
    seen.add(shape)
    return [i + 1]
  })
}
