import { readFile, stat } from 'node:fs/promises'
import { basename, resolve } from 'node:path'
import { appendToBook, bookPath, readBook, sha256 } from '../../book/index.js'
import type { Equipment } from '../../equipment/index.js'
import { imageType } from '../book/book-page.js'

/** A photograph that a person gave with an answer. */
export interface AnswerPhoto {
  readonly name: string
  readonly caption: string
  readonly sha256: string
  readonly bytes: number
  readonly data: Uint8Array
}

/** Read and hashed beside a run: no larger than takes a moment. */
const most_bytes = 16 * 1024 * 1024

/** "14.2 V photo=cathode.jpg" as the answer and the file; null where no photograph is named. */
export function withPhoto(text: string): { readonly answer: string; readonly photo: string | null } {
  const found = /^(.*?)\s*\bphoto=(.+)$/i.exec(text)
  return found === null
    ? { answer: text, photo: null }
    : { answer: found[1] ?? '', photo: found[2]?.trim() ?? '' }
}

/** By its bytes, never by its name; why it cannot be had, in a sentence. */
export async function readPhoto(
  path: string,
  caption: string,
): Promise<AnswerPhoto | { readonly problem: string }> {
  const at = resolve(path)
  try {
    if ((await stat(at)).size > most_bytes)
      return { problem: `${path} is larger than the 16 MB that a photograph with an answer may have.` }
    const data = await readFile(at)
    if (imageType(data) === null) return { problem: `${path} is no JPEG, PNG or WebP picture.` }
    return { name: basename(at), caption, sha256: sha256(data), bytes: data.length, data }
  } catch (error) {
    return { problem: `${path} cannot be read (${error instanceof Error ? error.message : String(error)}).` }
  }
}

/** Into the set's book once the run has ended: the run itself waits for no disk. What became of them, in sentences. */
export function photosInBook(
  photos: readonly AnswerPhoto[],
  { equipment, set_path }: { readonly equipment: Equipment; readonly set_path?: string },
  run: string,
  by: string,
): string[] {
  if (photos.length === 0) return []
  const kept = `The record names ${photos.map(({ name, sha256: hash }) => `${name} (SHA-256 ${hash})`).join(', ')}`
  if (set_path === undefined) return [`${kept}; keep the files.`]
  const path = bookPath(set_path, equipment)
  const book = readBook(path)
  if ('trouble' in book || !book.exists)
    return [`${kept}; the set has no book that could take them: keep the files.`]
  const done = appendToBook(
    path,
    { at: new Date().toISOString(), by },
    photos.map(({ name, caption, sha256: hash, bytes, data }) => ({
      body: { kind: 'photograph', name, caption: `${run}, ${caption}`.slice(0, 1000), bytes, sha256: hash },
      data,
    })),
  )
  return 'trouble' in done
    ? [`${kept}; not in the book: ${done.trouble}`]
    : [`${kept}; the book of the set has them.`]
}
