import type { PortLine, Trouble, TroubleKind } from './types.js'

/** Where a line goes, as a person would say it. */
export function lineName(line: PortLine): string {
  return line.kind === 'serial' ? line.path : `${line.host}:${line.port}`
}

/** The library gives open errors neither code nor number, only text: it is read here and nowhere else. */
const patterns: readonly (readonly [RegExp, TroubleKind])[] = [
  [/no such file|ENOENT|no such device|ENXIO|ENODEV|ENOTFOUND/i, 'missing port'],
  [/cannot lock port|temporarily unavailable|EBUSY|resource busy/i, 'busy'],
  [/permission denied|EACCES|EPERM/i, 'no permission'],
  [/inappropriate ioctl|ENOTTY|not a terminal/i, 'not a terminal'],
  [/ECONNREFUSED|EHOSTUNREACH|ENETUNREACH|ETIMEDOUT|no connection within/i, 'refused'],
]

const remedies: Readonly<Record<TroubleKind, string>> = {
  'missing port':
    'Is the supply plugged in and the name in the bench file right? Names under /dev/serial/by-id stay the same.',
  busy: 'Another program holds it. Where that is a run of slowglow, leave it alone until it has ended: it is what switches off. End any other one, and start again.',
  'no permission':
    'This user may not open it. Add the user to the group that owns the port (often dialout) and log in again.',
  'not a terminal': 'It is a file, not a serial port. Correct the path in the bench file.',
  refused: 'Is the supply switched on, its address right, and no other program connected to it?',
  gone: 'The cable or the supply went. What its outputs do now is not known: look at the supply.',
  stuck: 'The supply takes no more text. What its outputs do now is not known: look at the supply.',
  other: 'Unplug the line, plug it in again and start again.',
}

/** Text of an error into what happened, where, and what to do. */
export function troubleOf(line: PortLine, text: string, otherwise: TroubleKind = 'other'): Trouble {
  const kind = patterns.find(([pattern]) => pattern.test(text))?.[1] ?? otherwise
  const plain = text
    .replace(/^(Error:? ?)+/, '')
    .replace(/\s+/g, ' ')
    .trim()
  return { kind, text: `${lineName(line)}: ${kind} (${plain}). ${remedies[kind]}` }
}

export function errorText(error: unknown): string {
  return error instanceof Error ? error.message : String(error)
}
