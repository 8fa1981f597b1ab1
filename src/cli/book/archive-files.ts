import { readFileSync } from 'node:fs'
import { basename } from 'node:path'
import { type ArchiveFile, type ColdState, photographOf } from '../../book/index.js'
import { whereIsRun } from '../../record/index.js'
import type { SetFile } from '../set-file.js'
import type { Life } from './book-text.js'
import { recordSheet } from './record-sheet.js'
import { sheetPage } from './sheet-page.js'

/** Everything of a set that slowglow keeps: to be read with a browser, by any program, and by slowglow itself; and what it could not take. */
export function archiveFiles(
  state: ColdState,
  life: Life,
  set: SetFile,
  page: string,
  printed: string,
): { readonly files: readonly ArchiveFile[]; readonly missing: readonly string[] } {
  const text = (words: string) => () => Buffer.from(words)
  const { book } = state
  const { runs, missing } = runsOf(life)
  const files: ArchiveFile[] = [
    { name: 'book.html', data: text(page) },
    { name: 'worksheet.html', data: text(sheetPage(state, printed)) },
    { name: 'test-record.html', data: text(recordSheet(life, state, printed)) },
    {
      name: 'book.json',
      data: text(
        `${JSON.stringify({ equipment: life.equipment, last: book.last, entries: book.entries }, null, 2)}\n`,
      ),
    },
    { name: basename(set.path), data: () => readFileSync(set.path) },
    ...(book.exists ? [{ name: basename(book.path), data: () => readFileSync(book.path) }] : []),
    ...book.entries.flatMap((entry) =>
      entry.body.kind === 'photograph'
        ? [
            {
              name: `photographs/${String(entry.seq + 1).padStart(4, '0')}-${entry.body.name}`,
              data: () => {
                const data = photographOf(book.path, entry)
                if ('trouble' in data) throw new Error(data.trouble)
                return data
              },
            },
          ]
        : [],
    ),
    ...runs.map((file) => ({ name: `runs/${basename(file)}`, data: () => readFileSync(file) })),
    ...(missing.length === 0
      ? []
      : [{ name: 'missing.txt', data: text(`Not in this archive:\n${missing.join('\n')}\n`) }]),
  ]
  return { files, missing }
}

/** Runs that the book names; one of a set that is only called the same is not this one's. */
function runsOf(life: Life): { readonly runs: readonly string[]; readonly missing: readonly string[] } {
  const runs = new Set<string>()
  const missing: string[] = []
  const named = new Set<string>()
  for (const { body } of life.entries) {
    if (body.kind !== 'run') continue
    named.add(body.run)
    const file = whereIsRun(body.file)
    if (file?.endsWith('.slowglow') === true) runs.add(file)
    else
      missing.push(
        `run ${body.run}: not found where the book says, nor in the archive beside it (${body.file})`,
      )
  }
  for (const { run, file } of life.runs)
    if (!named.has(run)) missing.push(`run ${run}: of a set of this name, and not in this book (${file})`)
  return { runs: [...runs], missing }
}
