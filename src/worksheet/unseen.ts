import type { Equipment } from '../equipment/index.js'
import { formatShort } from '../quantities/index.js'
import { look, practice } from './check.js'
import type { ColdCheck, Worksheet } from './types.js'

/** A part of which a plan misses faults: never noticed, or too late. */
export interface Unseen {
  readonly part: string
  readonly faults: readonly string[]
  /** A part stands beyond its rating by then. */
  readonly burns: boolean
}

/** Capacitance that a formed electrolytic may have left, and more than marked (common practice, no source). */
const capacitance = 'within -20 % and +50 % of what is marked'

/** What no current of a bring-up shows of tubes and electrolytics. */
export function unseenChecks(equipment: Equipment): ColdCheck[] {
  const group = 'what current does not show'
  const cautions = ['Unplugged, and its stored charge measured first: an insulated tool, one hand.']
  const tubes = Object.entries(equipment.tubes).map(([name, { type }]) =>
    look({
      ...{ item: `${name} tube`, group, cautions, parts: [name], source: practice },
      what: `${name}: a ${type} stands in its socket, and tests good for emission, gas and electrodes that touch`,
      because: 'a weak, gassy or wrong tube draws what others on its rail may draw too',
      method:
        'Read the type on the glass; tube tester, or a known good one in its place. Pins and socket clean, each pin rung out to its part.',
    }),
  )
  const cans = [
    ...Object.entries(equipment.parts).flatMap(([name, part]) =>
      part.kind === 'capacitor' && part.dielectric === 'electrolytic' ? [[name, part.F] as const] : [],
    ),
    ...Object.entries(equipment.rail_capacitors).map(([name, { F }]) => [name, F] as const),
  ].map(([name, F]) =>
    look({
      ...{ item: `${name} capacitance`, group, cautions, parts: [name], source: practice },
      what: `${name}: ${capacitance} (${formatShort(F, 'F')})`,
      because:
        'one that has dried out or come off its tag hums and decouples nothing, and draws nothing either',
      method: 'One end lifted, capacitance meter; or as it is formed, from charge against volts.',
    }),
  )
  return [...tubes, ...cans]
}

/** Items of the sheet that look at a part, or at the leads of a rail. */
export function itemsFor({ checks }: Worksheet, part: string): string[] {
  return checks
    .filter(({ parts, rails, group }) => parts.includes(part) || (group === 'rails' && rails.includes(part)))
    .map(({ item }) => item)
}

/** Those that find what no current shows: a tube's own check finds what its heater's does not. */
export function findersOf(sheet: Worksheet, part: string): string[] {
  const items = itemsFor(sheet, part)
  return items.includes(`${part} tube`) ? [`${part} tube`] : items
}

/** The sheet with what a profile's plan misses told at the checks that find it. */
export function withUnseen(sheet: Worksheet, profile: string, unseen: readonly Unseen[]): Worksheet {
  const told = new Map<string, string[]>()
  for (const { part, faults, burns } of unseen)
    for (const item of findersOf(sheet, part))
      told.set(item, [
        ...(told.get(item) ?? []),
        `${listed(faults)}${burns ? ', of which a part may burn' : ''}`,
      ])
  return {
    ...sheet,
    checks: sheet.checks.map((check) => {
      const missed = told.get(check.item)
      return missed === undefined
        ? check
        : {
            ...check,
            because: `${check.because}; what ${profile} does not notice in time: ${missed.join('; ')}`,
          }
    }),
  }
}

function listed(faults: readonly string[]): string {
  return faults.length <= 4
    ? faults.join(', ')
    : `${faults.slice(0, 3).join(', ')} and ${faults.length - 3} more`
}
