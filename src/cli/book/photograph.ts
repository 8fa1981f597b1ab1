import { readFileSync, statSync } from 'node:fs'
import { most_bytes, type NewEntry, sha256 } from '../../book/index.js'
import { exits } from '../exits.js'
import type { Refusal } from '../refuse.js'
import { imageType } from './book-page.js'

/** A picture from a file, as an entry of the book; by its bytes, never by its name. */
export function photographed(path: string, name: string, caption: string): NewEntry | Refusal {
  const refused = (what: string): Refusal => ({
    exit: exits.usage,
    where: name,
    what,
    remedy: 'Give a JPEG, PNG or WebP file.',
  })
  try {
    if (statSync(path).size > most_bytes) return refused('That is too large for a photograph.')
    const data = readFileSync(path)
    if (imageType(data) === null) return refused('That is no photograph.')
    const body = {
      kind: 'photograph',
      name,
      caption,
      bytes: data.length,
      sha256: sha256(data),
    } as const
    return { body, data }
  } catch (error) {
    return refused(
      `The photograph cannot be read: ${error instanceof Error ? error.message : String(error)}.`,
    )
  }
}
