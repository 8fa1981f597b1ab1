import type { Ratings, TubeRecord } from './types.js'

/**
 * What one section of a tube may stand: its own ratings where it has any (the triode of a triode-hexode), the type's else. A
 * section that has its own has no screen of the other's.
 */
export function ratingsOf({ max, sections }: TubeRecord, section: number): Ratings {
  const own = sections[section]?.max
  if (own === undefined) return max
  return { ...Object.fromEntries(Object.entries(max).filter(([name]) => !name.startsWith('screen'))), ...own }
}
