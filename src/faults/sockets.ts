import { type Equipment, type PartName, recordOf, type Tube } from '../equipment/index.js'
import { findTube } from '../tubes/index.js'
import type { Change } from './types.js'

/*
 * Types that go into one another's sockets, pin for pin (bases of the usual lists, from memory). Heaters are held against the
 * catalogue: one of another current shows in its chain.
 */
const alike: readonly (readonly string[])[] = [
  ['6SK7', '6SJ7'],
  ['6SG7', '6SH7'],
  ['6K7', '6J7'],
  ['6J5', '6C5'],
  ['6SN7GT', '6SL7GT'],
  ['6V6GT', '6K6GT', '6F6', '6L6', '6L6GC', '5881'],
  ['6AU6', '6BA6'],
  ['12AX7', '12AT7', '12AU7', '12AY7'],
  ['0A2', '0B2'],
  ['0A3', '0B3', '0C3', '0D3'],
  ['12SK7', '12SJ7'],
]
/** Other types that are tried in one socket, and by how much their heater current may differ. */
const most = { types: 2, heater: 0.05 } as const

/** Types that may stand in a tube's socket by mistake, unseen by its heater chain, with what they make of its elements. */
export function mistaken(
  { tubes }: Equipment,
  name: PartName,
  tube: Tube,
  elementOf: (section: number) => string,
): { readonly type: string; readonly changes: readonly Change[] }[] {
  const own = recordOf(tube)
  if (own === null || tubes[name] === undefined) return []
  const group = alike.find((types) => types.includes(own.type)) ?? []
  return group
    .filter((type) => type !== own.type)
    .flatMap((type) => {
      const other = findTube(type).found
      if (other === null || other.sections.length < tube.sections.length) return []
      const amps = own.heater?.amps.value ?? 0
      if (Math.abs((other.heater?.amps.value ?? 0) - amps) > most.heater * amps) return []
      const changes = tube.sections.flatMap((_, i): Change[] => {
        const model = other.sections[i]?.model ?? null
        if (model === null || model.form === 'diode' || model.form !== own.sections[i]?.model?.form) return []
        return [{ element: elementOf(i), is: 'model', model }]
      })
      return changes.length === tube.sections.length ? [{ type, changes }] : []
    })
    .slice(0, most.types)
}
