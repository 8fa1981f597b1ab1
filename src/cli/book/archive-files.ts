import { existsSync, readFileSync } from 'node:fs'
import { basename } from 'node:path'
import { type ArchiveFile, type ColdState, photographOf } from '../../book/index.js'
import type { SetFile } from '../set-file.js'
import type { Life } from './book-text.js'
import { sheetPage } from './sheet-page.js'

/** Everything of a set that slowglow keeps: to be read with a browser, by any program, and by slowglow itself. */
export function archiveFiles(
  state: ColdState,
  life: Life,
  set: SetFile,
  page: string,
  printed: string,
): ArchiveFile[] {
  const text = (words: string) => () => Buffer.from(words)
  const { book } = state
  const runs = new Set([
    ...life.entries.flatMap(({ body }) => (body.kind === 'run' ? [body.file] : [])),
    ...life.runs.map(({ file }) => file),
  ])
  return [
    { name: 'book.html', data: text(page) },
    { name: 'worksheet.html', data: text(sheetPage(state, printed)) },
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
    // A run that lies elsewhere by now is named in the book all the same.
    ...[...runs]
      .filter((file) => file.endsWith('.slowglow') && existsSync(file))
      .map((file) => ({ name: `runs/${basename(file)}`, data: () => readFileSync(file) })),
  ]
}
