import { type Bench, biasBesideHot, type TakenOutput } from '../bench/index.js'
import type { RailName } from '../equipment/index.js'
import type { LimitProblem } from '../limits/index.js'
import { isHotRole } from './off.js'
import type { RailPlan, Step } from './types.js'

/*
 * Which outputs the dead-man of a supply takes: its dialect states it, `qualify` measures it. What was measured against the
 * statement counts however old it is; that it holds counts only where the qualification does.
 */

interface Seen {
  /** The output whose dead-man was left unfed. */
  readonly by: string
  readonly did: TakenOutput['did']
  /** It fired there, on this supply, and not too long ago. */
  readonly counts: boolean
}

/** What became of this output wherever the dead-man of another one of its supply was left unfed. */
function seenOf(bench: Bench, port: string, channel: string): readonly Seen[] {
  return Object.keys(bench.supplies[port]?.channels ?? {}).flatMap((name): Seen[] => {
    const by = `${port}.${name}`
    const measured = bench.measured?.[by]
    return (measured?.proofs ?? []).flatMap(({ of, verdict, outputs = [] }) =>
      of !== 'dead-man'
        ? []
        : outputs
            .filter((each) => each.channel === channel)
            .map(({ did }) => ({ by, did, counts: measured?.state === 'measured' && verdict === 'fired' })),
    )
  })
}

/** Why this output is not taken by the one timer that is stated to take all; null where nothing was found against it. */
export function notTaken(bench: Bench, channel: string): string | null {
  const port = portOf(bench, channel)
  if (bench.supplies[port]?.dialect.dead_man?.per !== 'supply') return null
  const seen = seenOf(bench, port, channel)
  const stayed = seen.find(({ did }) => did === 'stayed on')
  if (stayed !== undefined) return `it stayed on when that of ${stayed.by} was left unfed`
  const unclear = seen.find(({ did }) => did === 'not clear')
  return unclear === undefined
    ? null
    : `whether it went when that of ${unclear.by} was left unfed did not show clearly`
}

/** Whether the one timer of its supply was seen to take this output: in its own proof, or in that of another. */
export function seenTaken(bench: Bench, channel: string): boolean {
  const measured = bench.measured?.[channel]
  const own = measured?.proofs.find(({ of }) => of === 'dead-man')?.verdict === 'fired'
  if (measured?.state === 'measured' && own) return true
  return seenOf(bench, portOf(bench, channel), channel).some(
    ({ did, counts }) => counts && did === 'went off',
  )
}

export type BiasBeside =
  | { readonly is: 'left on' }
  | { readonly is: 'taken' | 'not clear' | 'not seen'; readonly bias: string; readonly by: string }

/**
 * Bias beside what is hot on a supply that is stated to have one timer for each output: whether it was seen to stay on when the
 * dead-man of each hot output fired. Null where no bias hangs on that.
 */
export function biasBeside(bench: Bench, port: string): BiasBeside | null {
  const supply = bench.supplies[port]
  if (supply === undefined || !biasBesideHot(supply)) return null
  const outputs = Object.entries(supply.channels).map(([name, { role }]) => ({
    channel: `${port}.${name}`,
    role,
  }))
  const pairs = outputs.flatMap(({ channel: by, role }) =>
    isHotRole(role)
      ? outputs.flatMap(({ channel: bias, role: other }) => (other === 'bias' ? [{ by, bias }] : []))
      : [],
  )
  let worst: BiasBeside = { is: 'left on' }
  for (const { by, bias } of pairs) {
    const seen = seenOf(bench, port, bias).filter((each) => each.by === by)
    if (seen.some(({ did }) => did === 'went off')) return { is: 'taken', bias, by }
    if (seen.some(({ did }) => did === 'not clear')) worst = { is: 'not clear', bias, by }
    else if (worst.is === 'left on' && !seen.some(({ did, counts }) => counts && did === 'stayed on'))
      worst = { is: 'not seen', bias, by }
  }
  return worst
}

/** A dead-man that takes the bias beside HT: with computer or line gone HT would stand without it for as long as its charge lasts. */
export function takenBias(
  bench: Bench,
  rails: Readonly<Record<RailName, RailPlan>>,
  steps: readonly Step[],
): LimitProblem[] {
  const used = new Set(steps.flatMap(({ rail, hookup }) => [rail, hookup?.rail ?? null]))
  const ports = new Set(
    Object.values(rails).flatMap(({ name, role, channels }) =>
      used.has(name) && isHotRole(role) ? channels.map(({ port }) => port) : [],
    ),
  )
  return [...ports].flatMap((port) => biasHangsOn(bench, port))
}

/** What is to be said of bias beside HT on this supply, by what its dialect states and what was measured of it. */
export function biasHangsOn(bench: Bench, port: string): LimitProblem[] {
  const found = biasBeside(bench, port)
  if (found === null || found.is === 'left on') return []
  const { bias, by } = found
  switch (found.is) {
    case 'taken':
      return [
        {
          severity: 'error',
          what: `The dead-man of ${by} takes the bias (${bias}) with it: it went off when that was left unfed, though the dialect says that each output has its own. With computer or line gone the bias would not outlast HT.`,
          remedy: `Feed the bias from another supply; or take dead_man out of the dialect of ${port}, so that it is never armed`,
        },
      ]
    case 'not clear':
    case 'not seen':
      return [
        {
          severity: 'warning',
          what: `That the dead-man of ${by} leaves the bias (${bias}) on is ${found.is === 'not clear' ? 'not clear from its qualification' : 'stated and was never seen'}: where it takes all, the bias goes with HT.`,
          remedy: `Measure it on a dummy load: slowglow qualify --channel ${by}; or feed the bias from another supply`,
        },
      ]
  }
}

function portOf(bench: Bench, channel: string): string {
  return Object.keys(bench.supplies).find((port) => channel.startsWith(`${port}.`)) ?? ''
}
