import type { ColdState } from '../../book/index.js'
import { listRuns } from '../../record/index.js'
import type { Io } from '../io.js'
import { otherRunsFolders, runsFolder } from '../runs-folder.js'
import type { SetFile } from '../set-file.js'
import type { Life } from './book-text.js'

/** The set's book, with runs of a set of its name that lie in the folders; rehearsals are no part of a life. */
export function lifeOf({ book }: ColdState, { equipment }: SetFile, runs: string | undefined, io: Io): Life {
  const folder = runsFolder(runs, io)
  const elsewhere = runs === undefined ? otherRunsFolders(folder, io) : []
  return lifeIn({ book }, { equipment }, { runs: folder, elsewhere })
}

export function lifeIn(
  { book }: Pick<ColdState, 'book'>,
  { equipment }: Pick<SetFile, 'equipment'>,
  { runs, elsewhere }: { readonly runs: string; readonly elsewhere: readonly string[] },
): Life {
  const own = [runs, ...elsewhere]
    .flatMap((each) => listRuns(each))
    .filter((run) => run.equipment === equipment.name && run.command === 'run')
  return { equipment: equipment.name, path: book.path, entries: book.entries, runs: own, last: book.last }
}
