import { parseQuantity, type Unit } from '../../quantities/index.js'

export type Option = { readonly flag: string; readonly unit: Unit }

/** Reads flags as quantities; the first that is none is refused with its remedy. Flags left out are left out. */
export function readFlags(
  flags: readonly Option[],
  given: Readonly<Record<string, unknown>>,
): { ok: true; values: Readonly<Record<string, number>> } | { ok: false; where: string; problem: string } {
  const values: Record<string, number> = {}
  for (const { flag, unit } of flags) {
    const text = given[camel(flag)]
    if (typeof text !== 'string') continue
    const parsed = parseQuantity(text, unit)
    if (!parsed.ok)
      return { ok: false, where: `--${flag} ${text}`, problem: `${parsed.problem}; ${parsed.remedy}` }
    values[flag] = parsed.value
  }
  return { ok: true, values }
}

/** As a command line's library calls a flag. */
export const camel = (flag: string): string =>
  flag.replace(/-([a-z0-9])/g, (_, letter: string) => letter.toUpperCase())
