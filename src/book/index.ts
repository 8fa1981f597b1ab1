export { type ArchiveFile, writeArchive } from './archive.js'
export { type BookBody, type BookEntry, bookBodyShape, bookEntryShape } from './entries.js'
export { coldChecksNow, coldFacts, type ColdState, coldState } from './cold.js'
export {
  appendToBook,
  type Book,
  type BookTrouble,
  most_bytes,
  type NewEntry,
  photographOf,
  readBook,
  sha256,
} from './store.js'
export { bookDoubt, bookPath } from './whose.js'
