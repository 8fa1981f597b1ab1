import { expect, test } from 'vitest'
import {
  allTypes,
  drivenAdd,
  drivenOf,
  screenTubeCurrents,
  type ServicePoint,
  triodeCurrents,
} from '../../src/tubes/index.js'

/*
 * Typical operation, class C, of transmitting tube manuals (the source stands in each row of src/tubes/data, most of them
 * recalled). Each row is told from the row of the same type and service nearest to it in plate volts, by the law that scales
 * driven stages: what its plate then draws. Both rows were loaded for their own ratings, so agreement is that of two loads.
 */
interface Told {
  readonly row: string
  readonly ratio: number
}

function told(): Told[] {
  return allTypes().flatMap((record): Told[] => {
    const model = record.sections[0]?.model
    if (model?.form !== 'triode' && model?.form !== 'screen') return []
    const { mu } = model
    const rows = record.service.filter(
      (row) =>
        !row.rating && row.service.startsWith('class C') && row.plate_V !== null && row.plate_A !== null,
    )
    return rows.flatMap((row): Told[] => {
      const others = rows.filter((other) => other !== row && other.service === row.service)
      const away = (plate_V: number | null): number => Math.abs(Math.log((plate_V ?? 1) / (row.plate_V ?? 1)))
      const nearest = [...others].sort((a, b) => away(a.plate_V) - away(b.plate_V))[0]
      const from =
        nearest === undefined ? null : drivenOf({ driven: nearest, rest: null, borrowed: false }, 'RF')
      const own = drivenOf({ driven: row, rest: null, borrowed: false }, 'RF')
      if (from === null || own === null || row.plate_A === null) return []
      const at = { ...from, by: 'RF' as const, whole_at_V: null, mu, plate: 1, screen: 1, grid: 1, bend: 0 }
      // The row's own bias and drive, so far as they reach above the cathode.
      const grid_V = own.grid_V + own.peak_V - from.peak_V
      const { plate_A } = drivenAdd(at, own.plate_V, own.screen_V ?? 0, grid_V)
      return [{ row: `${record.type} ${row.service} ${own.plate_V} V`, ratio: plate_A / row.plate_A }]
    })
  })
}

test('typical operation of a service is told from another row of it: half within 20 %, nine of ten within a factor two', () => {
  // Types that differ by their heater only share their rows.
  const rows = [
    ...new Map(
      told().map((each) => [`${each.row.replace(/^.*? class/, '')} ${each.ratio.toFixed(3)}`, each]),
    ).values(),
  ]
  const off = rows.map(({ ratio }) => Math.abs(Math.log(ratio))).sort((a, b) => a - b)
  const at = (part: number): number => Math.exp(off[Math.floor(part * (off.length - 1))] ?? 0)
  const all = rows.map(({ row, ratio }) => `${row} ×${ratio.toFixed(2)}`).join('\n')
  expect(off.length, all).toBeGreaterThanOrEqual(20)
  expect(at(0.5), all).toBeLessThan(1.2)
  // 829B and 832A rows are loaded to one input at any volts: their current falls where a fixed load's would rise.
  expect(at(0.9), all).toBeLessThan(2)
})

/*
 * Typical operation, class AB and B, full signal: none of these rows is used in any fit (fits take rows at rest only). What
 * signal adds is told from another row of the same service, as class C above; a stage of which one row alone is known is
 * its own figure. At rest it is told by the type's curves at the row's own volts, so that the sum is what a plan expects.
 */
function toldByAudio(): { readonly row: string; readonly ratio: number; readonly added: number }[] {
  return allTypes().flatMap((record) => {
    const model = record.sections[0]?.model
    if (model?.form !== 'triode' && model?.form !== 'screen') return []
    const at = (row: ServicePoint, name: string) =>
      record.service.find(
        (each) =>
          each.service === `${row.service.replace(/, maximum signal$/, '')}, ${name}` &&
          each.duty === row.duty &&
          each.plate_V === row.plate_V &&
          each.screen_V === row.screen_V &&
          each.grid_V === row.grid_V,
      )
    const rows = record.service.filter(
      (row) =>
        /maximum signal$/.test(row.service) && !/triode-connected/.test(row.service) && row.grid_V !== null,
    )
    return rows.flatMap((row) => {
      const others = rows.filter(
        (other) =>
          other.service === row.service &&
          (other.plate_V !== row.plate_V || other.screen_V !== row.screen_V) &&
          at(other, 'zero signal') !== undefined,
      )
      const away = (plate_V: number | null): number => Math.abs(Math.log((plate_V ?? 1) / (row.plate_V ?? 1)))
      const nearest = [...others].sort((a, b) => away(a.plate_V) - away(b.plate_V))[0]
      const rest = nearest === undefined ? undefined : at(nearest, 'zero signal')
      const from =
        nearest === undefined || rest === undefined
          ? null
          : drivenOf({ driven: nearest, rest, borrowed: false }, 'audio')
      if (from === null || row.plate_V === null || row.plate_A === null || row.grid_V === null) return []
      const driven = {
        ...from,
        by: 'audio' as const,
        whole_at_V: null,
        mu: model.mu,
        plate: 1,
        screen: 1,
        grid: 1,
        bend: 0,
      }
      const adds = drivenAdd(driven, row.plate_V, row.screen_V ?? 0, row.grid_V)
      const idle =
        model.form === 'triode'
          ? triodeCurrents(model, row.plate_V, row.grid_V).plate_A
          : screenTubeCurrents(model, row.plate_V, row.screen_V ?? 0, row.grid_V).plate_A
      return [
        {
          row: `${record.type} ${row.service} ${row.plate_V} V`,
          ratio: (idle + adds.plate_A) / row.plate_A,
          added: adds.plate_A,
        },
      ]
    })
  })
}

test('full-signal currents of audio stages are told from another row of the service and the curves at rest: half within 15 %, nine of ten within 25 %', () => {
  const rows = [
    ...new Map(
      toldByAudio().map((each) => [`${each.row.replace(/^.*? class/, '')} ${each.ratio.toFixed(3)}`, each]),
    ).values(),
  ]
  const off = rows.map(({ ratio }) => Math.abs(Math.log(ratio))).sort((a, b) => a - b)
  const at = (part: number): number => Math.exp(off[Math.floor(part * (off.length - 1))] ?? 0)
  const all = rows.map(({ row, ratio }) => `${row} ×${ratio.toFixed(2)}`).join('\n')
  expect(off.length, all).toBeGreaterThanOrEqual(20)
  expect(at(0.5), all).toBeLessThan(1.15)
  // 811A alone lies further off: its rows at rest contradict each other, and it is driven from near zero bias.
  expect(at(0.9), all).toBeLessThan(1.25)
})
