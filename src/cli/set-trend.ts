import { resolve } from 'node:path'
import { bookPath, readBook } from '../book/index.js'
import { loadEquipment } from '../files/index.js'
import { readRun, type SetTrend, type Trend, trendLines, trendOf, type Work } from '../record/index.js'
import { bodyText } from './book/book-text.js'

/** A set over its runs, with what its book says was repaired and replaced between them. */
export function setTrend(
  folder: string,
  name: string,
  rehearsals: boolean,
  { equipmentPath, cwd }: { readonly equipmentPath: string | null; readonly cwd: string },
): SetTrend {
  const trend = trendOf(folder, name, rehearsals)
  const work = workOn(name, equipmentPath === null ? pathsIn(trend, cwd) : [equipmentPath])
  return 'trouble' in work
    ? { ...trend, life: trendLines(trend, []), no_book: work.trouble }
    : { ...trend, life: trendLines(trend, work.work), no_book: null }
}

/** Where the files of its newest run were, as whoever started it named them. */
function pathsIn({ runs }: Trend, cwd: string): string[] {
  const newest = runs.at(-1)
  const read = newest === undefined ? null : readRun(newest.file, (reader) => reader.known()?.files ?? {})
  const files = read !== null && 'value' in read ? read.value : {}
  return Object.entries(files).flatMap(([path, text]) =>
    /^slowglow:\s*equipment/m.test(text) ? [resolve(cwd, path)] : [],
  )
}

function workOn(
  name: string,
  paths: readonly string[],
): { readonly work: readonly Work[] } | { readonly trouble: string } {
  for (const path of paths) {
    const set = loadEquipment(path).value
    if (set?.name !== name) continue
    const book = readBook(bookPath(path, set))
    if ('trouble' in book) return { trouble: `Repairs are not told: ${book.trouble}` }
    return {
      work: book.entries.flatMap(({ at, on, by, body }): Work[] =>
        body.kind === 'repair' || body.kind === 'replaced'
          ? [{ at: on ?? at, by, what: body.kind, text: bodyText(body) }]
          : [],
      ),
    }
  }
  return {
    trouble:
      'Repairs are not told: the file of the set, beside which its book lies, is not where its newest run had it. Give that file for the name.',
  }
}
