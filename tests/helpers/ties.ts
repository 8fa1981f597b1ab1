import type { Fault, Lab, Point } from '../../src/faults/index.js'
import { scaled } from '../../src/faults/likelihood.js'

/** Two faults that differ by less than this at every node, cold and under volts, are one to any meter (some 30 %). */
const apart = 0.3

/** Faults that no reading anywhere parts from one: what is left of it when everything has been measured. */
export function tiesOf(
  lab: Lab,
  faults: readonly Fault[],
): (fault: Fault, mode: string, point: Point | null) => number {
  const tables = new Map<string, Map<string, Float64Array>>()
  const table = (mode: string, point: Point | null): Map<string, Float64Array> => {
    const key = `${mode} ${JSON.stringify(point)}`
    const known = tables.get(key)
    if (known !== undefined) return known
    const places = [...lab.places(mode)]
    const spot = point === null ? null : lab.at(point)
    const made = new Map(
      faults.map((fault) => {
        const volts = spot?.state({ fault })?.volts
        const row = [
          ...places.map((place) => scaled(lab.ohm(mode, place, { fault }), 0.5)),
          ...(volts === undefined ? [] : places.map((place) => scaled(volts[place] ?? 0, 0.3))),
        ]
        return [fault.fault, Float64Array.from(row)] as const
      }),
    )
    tables.set(key, made)
    return made
  }
  return (fault, mode, point) => {
    const rows = table(mode, point)
    const own = rows.get(fault.fault)
    if (own === undefined) return 1
    let ties = 0
    for (const row of rows.values())
      if (row.length === own.length && row.every((y, i) => Math.abs(y - (own[i] ?? 0)) < apart)) ties++
    return ties
  }
}
