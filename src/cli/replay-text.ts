import type { Exactly, WithLimits } from '../replay/index.js'
import { inUnit } from '../session/index.js'

interface Versions {
  readonly recorded: string
  readonly now: string
}

/** Time into a run as people say it: `3 h 12 min`, `4 min 5 s`, `12.3 s`. */
export function elapsed(t_us: number): string {
  const s = t_us / 1e6
  if (s < 60) return `${s.toFixed(1)} s`
  if (s < 3600) return `${Math.floor(s / 60)} min ${Math.floor(s % 60)} s`
  return `${Math.floor(s / 3600)} h ${Math.floor((s % 3600) / 60)} min`
}

export function exactText({ fed, same, difference, gap }: Exactly, run: string, versions: Versions): string {
  const sameVersion = versions.recorded === versions.now
  const version = sameVersion
    ? `slowglow ${versions.now}, the version that ran it.`
    : `Recorded by slowglow ${versions.recorded}, replayed by ${versions.now}.`
  const count = `${fed} events fed, ${same} recorded decisions the same.`
  if (difference !== null)
    return [
      `Replay of ${run}: ${sameVersion ? 'DIFFERS from the record' : 'another version decides differently'}.`,
      `  ${at(difference)}`,
      `    recorded: ${difference.recorded ?? 'nothing'}`,
      `    now:      ${difference.now ?? 'nothing'}`,
      ...(sameVersion
        ? ['  The same version must decide the same: this record was changed, or slowglow has a fault.']
        : []),
      `  ${count}`,
      `  ${version}`,
    ].join('\n')
  if (gap !== null)
    return [`Replay of ${run}: followed only in part.`, `  ${gap}`, `  ${count}`, `  ${version}`].join('\n')
  return [`Replay of ${run}: every decision came out as recorded.`, `  ${count}`, `  ${version}`].join('\n')
}

export function otherText({ fed, difference, gap }: WithLimits, run: string, profile: string): string {
  const heading = `Replay of ${run} by the limits of ${profile}`
  if (difference !== null) {
    const { reason, recorded, now } = difference
    const over =
      reason?.measured === null || reason?.limit === null || reason === null
        ? null
        : Math.abs(reason.measured - reason.limit)
    const lines =
      reason !== null
        ? [
            `Would have ended ${at(difference)}${over === null ? '' : `, ${inUnit(over, reason.unit)} ${over === 0 ? 'at' : 'beyond'} the limit`}.`,
            reason.text,
            `The recorded run ${recorded === null ? 'went on' : `did otherwise: ${recorded}`}.`,
          ]
        : [
            `Would have gone another way ${at(difference)}.`,
            `recorded: ${recorded ?? 'went on'}`,
            `by these limits: ${now ?? 'goes on'}`,
          ]
    return [
      `${heading}:`,
      ...lines.map((line) => `  ${line}`),
      '  What would have followed is not in the record: the set would have stood at other volts.',
    ].join('\n')
  }
  if (gap !== null) return [`${heading}: followed only in part.`, `  ${gap}`].join('\n')
  return `${heading}: it would have gone the same way. ${fed} events fed.`
}

function at({ t_us, step }: { readonly t_us: number; readonly step: number | null }): string {
  return `at ${elapsed(t_us)}${step === null ? '' : `, step ${step}`}`
}
