import type { Equipment } from '../equipment/index.js'
import { chargeChecks } from './charge.js'
import { chartChecks } from './charted.js'
import { type ColdOhms, coldOhms } from './cold-ohms.js'
import { heaterChecks } from './heaters.js'
import { bondChecks, couplingChecks, insulationChecks, leakChecks } from './insulation.js'
import { lookChecks } from './looks.js'
import { contactChecks, cordChecks, partChecks, primaryCheck } from './parts.js'
import { railChecks } from './rails.js'
import { unseenChecks } from './unseen.js'
import type { ColdCheck, Worksheet } from './types.js'

/** The cold checks of a set, from its file alone: what each should read, why, and how it is read. */
export function makeWorksheet(equipment: Equipment): Worksheet {
  const made = new Map<string, ColdOhms>()
  const ohmsIn = (mode: string): ColdOhms => {
    const known = made.get(mode)
    if (known !== undefined) return known
    const ohms = coldOhms(equipment, mode)
    made.set(mode, ohms)
    return ohms
  }
  const mode = Object.keys(equipment.modes)[0] ?? ''
  const ohms = ohmsIn(mode)
  const coupling = couplingChecks(equipment, ohms)
  const checks: ColdCheck[] = [
    ...chargeChecks(equipment),
    ...lookChecks(equipment),
    ...bondChecks(equipment),
    ...railChecks(equipment, mode, ohms),
    ...heaterChecks(equipment),
    ...partChecks(equipment, mode, ohms),
    ...primaryCheck(equipment),
    ...chartChecks(equipment, mode),
    ...contactChecks(equipment, ohmsIn),
    ...cordChecks(equipment),
    ...coupling,
    ...leakChecks(equipment, ohms, coupling),
    ...insulationChecks(equipment),
    ...unseenChecks(equipment),
  ]
  return {
    equipment: equipment.name,
    level: equipment.level,
    mode,
    controls: equipment.modes[mode]?.controls ?? {},
    checks: unique(checks),
    not_computed:
      equipment.level === 3
        ? []
        : [
            `${equipment.charts.resistances.length > 0 ? 'Resistances that the chart does not give' : 'Resistances'}, windings, contacts and coupling capacitors: the file gives no circuit. Read those that you can reach against the diagram, and keep what you find as a finding.`,
          ],
  }
}

/** Names in a file are the owner's: where two checks would be called the same, the later one says what it is of. */
function unique(checks: readonly ColdCheck[]): ColdCheck[] {
  const taken = new Set<string>()
  return checks.map((check) => {
    let { item } = check
    if (taken.has(item)) item = `${item} (${check.group})`
    for (let n = 2; taken.has(item); n++) item = `${check.item} (${check.group} ${n})`
    taken.add(item)
    return item === check.item ? check : { ...check, item }
  })
}
