import type { Rest, Story } from '../record/index.js'
import { closingText } from './closing.js'

/* What is said of a record that is not whole by itself, the same for `show`, report and page. */

/** How a run without an ending stands; `under_way`: the process that supervises it. */
export function interruptedLines(
  { rests, known }: Pick<Story, 'rests' | 'known'>,
  under_way: number | null,
): string[] {
  if (under_way !== null)
    return [
      `Under way: process ${under_way} supervises it, and outputs may be on. What is shown ends where it is now.`,
    ]
  const told = rests.findLast(({ ending }) => ending !== null)
  if (told === undefined || told.ending === null)
    return [
      'INTERRUPTED: this record has no ending.',
      '  Unless it goes on at another machine: take every output as on and every capacitor as charged; measure before touching.',
    ]
  return [
    'INTERRUPTED: this record has no ending of its own.',
    `  How the run ended is told in ${told.file}, under no seal:`,
    ...closingText(told.ending, null, {}, known?.command).split('\n'),
    '  No seal covers that: until you have seen that it is not, take every output as on and every capacitor as charged; measure before touching.',
  ]
}

/** What belongs to a record and lies beside it or elsewhere. */
export function besideLines({ standing, file, rests }: Pick<Story, 'standing' | 'file' | 'rests'>): string[] {
  return [
    ...(standing === 'open'
      ? [`The newest part of this record lies beside it in ${file}-wal: keep the two together.`]
      : []),
    ...rests.map(restLine),
  ]
}

const whose: Readonly<Record<Rest['kind'], string>> = {
  rest: 'that the run file did not take',
  unrecorded: 'that the recorder had not confirmed (it may hold the first of them all the same)',
}

function restLine({ file, kind, entries, in_memory, trouble }: Rest): string {
  return [
    `${entries} entries ${whose[kind]} lie in ${file}, under no seal: keep it with the run.`,
    ...(in_memory ? ['It lies in memory only: copy it before the computer is switched off.'] : []),
    ...(trouble === null ? [] : [`It cannot be read to its end (${trouble}).`]),
  ].join(' ')
}
