import { basename } from 'node:path'

/** What every run file's name ends with. */
export const extension = '.slowglow'

/** The name of a run, as its record, lists and exports have it: its file's, without what every such name ends with. */
export const runNameOf = (file: string): string => basename(file, extension)

/**
 * Name of a run file: `<UTC yyyymmdd-hhmmss>-<set>-<4 hex>.slowglow`. The caller gives the moment, the name of the set as
 * its file says it, and a random number in [0, 1).
 */
export function runFileName(at: Date, set: string, random: number): string {
  const moment = at.toISOString().replaceAll(/[-:]/g, '').replace('T', '-').slice(0, 15)
  const slug =
    set
      .normalize('NFKD')
      .toLowerCase()
      .replaceAll(/[^a-z0-9]+/g, '-')
      .slice(0, 40)
      .replaceAll(/^-+|-+$/g, '') || 'set'
  const mark = Math.floor(random * 0x10000)
    .toString(16)
    .padStart(4, '0')
  return `${moment}-${slug}-${mark}${extension}`
}
