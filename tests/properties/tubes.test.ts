import fc from 'fast-check'
import { describe, expect, test } from 'vitest'
import {
  allTypes,
  defineTube,
  diodeWithSlope,
  heaterCurrent,
  type ScreenModel,
  screenTubeWithSlopes,
  type TriodeModel,
  triodeWithSlopes,
} from '../../src/tubes/index.js'

const models = allTypes().flatMap((t) =>
  t.sections.flatMap((s) => (s.model === null ? [] : [{ type: `${t.type} ${s.name}`, model: s.model }])),
)
const triodes = models.flatMap(({ type, model }) => (model.form === 'triode' ? [{ type, model }] : []))
const screens = models.flatMap(({ type, model }) => (model.form === 'screen' ? [{ type, model }] : []))

const plates = [
  -1e4, -300, -1, -1e-9, 0, 1e-12, 1e-7, 1e-6, 1e-3, 0.1, 1, 3, 10, 30, 60, 100, 180, 250, 400, 750, 2500,
  1e5,
]
const grids = [
  -1e4, -2000, -500, -100, -50, -30, -20, -12, -8, -5, -3, -2, -1, -0.5, -0.1, 0, 0.1, 1, 10, 100, 1e4,
]

function sane(values: Record<string, number>, where: string) {
  for (const [key, value] of Object.entries(values)) {
    if (!Number.isFinite(value)) throw new Error(`${where}: ${key} is ${value}`)
    if (value < 0 && key !== 'screen_by_plate_S') throw new Error(`${where}: ${key} is negative, ${value}`)
  }
}

describe('on a dense grid of volts, far beyond any use', () => {
  test('no triode current or slope is infinite, negative or not a number, and plate current rises with grid and plate', () => {
    for (const { type, model } of triodes) {
      for (const plate of plates) {
        let before = 0
        for (const grid of grids) {
          const at = triodeWithSlopes(model, plate, grid)
          sane({ ...at }, `${type} plate ${plate} grid ${grid}`)
          if (at.plate_A < before) throw new Error(`${type}: plate current falls with the grid`)
          before = at.plate_A
        }
      }
      for (const grid of grids) {
        let before = 0
        for (const plate of plates) {
          const { plate_A } = triodeWithSlopes(model, plate, grid)
          if (plate_A < before) throw new Error(`${type}: plate current falls with the plate`)
          before = plate_A
        }
      }
    }
  })

  test('no screen tube current or slope is infinite or not a number, and plate current rises with grid and screen', () => {
    for (const { type, model } of screens) {
      for (const plate of plates) {
        for (const grid of grids) {
          let before = 0
          for (const screen of plates) {
            const at = screenTubeWithSlopes(model, plate, screen, grid)
            sane({ ...at }, `${type} plate ${plate} screen ${screen} grid ${grid}`)
            if (at.plate_A < before) throw new Error(`${type}: plate current falls with the screen`)
            before = at.plate_A
          }
        }
      }
      for (const plate of plates) {
        for (const screen of plates) {
          let before = 0
          for (const grid of grids) {
            const { plate_A } = screenTubeWithSlopes(model, plate, screen, grid)
            if (plate_A < before) throw new Error(`${type}: plate current falls with the grid`)
            before = plate_A
          }
        }
      }
    }
  })

  test('diodes conduct one way only and more with more volts', () => {
    for (const { model } of models) {
      if (model.form !== 'diode') continue
      let before = 0
      for (let V = -500; V <= 500; V += 0.5) {
        const { I } = diodeWithSlope(model, V)
        if (I < before || (V <= 0 && I !== 0)) throw new Error(`${I} A at ${V} V`)
        before = I
      }
    }
  })
})

describe('slopes', () => {
  const volts = fc.record({
    plate: fc.double({ min: -50, max: 800, noNaN: true }),
    screen: fc.double({ min: -20, max: 400, noNaN: true }),
    grid: fc.double({ min: -60, max: 15, noNaN: true }),
  })
  const h = 1e-5
  /** The slope given lies on the chord of the function itself; `scale` keeps tiny currents from deciding. */
  function agrees(slope: number, above: number, below: number, scale: number) {
    const chord = (above - below) / (2 * h)
    expect(Math.abs(slope - chord)).toBeLessThan(1e-5 * Math.abs(chord) + 1e-3 * scale)
  }

  test('of triodes are the derivatives of their currents, everywhere and with no jump', () => {
    fc.assert(
      fc.property(fc.constantFrom(...triodes), volts, ({ model }, { plate, grid }) => {
        const f = (p: number, g: number) => triodeWithSlopes(model, p, g)
        const at = f(plate, grid)
        const scale = model.K
        agrees(at.plate_by_plate_S, f(plate + h, grid).plate_A, f(plate - h, grid).plate_A, scale)
        agrees(at.plate_by_grid_S, f(plate, grid + h).plate_A, f(plate, grid - h).plate_A, scale)
        agrees(at.grid_by_grid_S, f(plate, grid + h).grid_A, f(plate, grid - h).grid_A, 10 * scale)
      }),
      { numRuns: 2000, seed: 1 },
    )
  })

  test('of screen tubes are the derivatives of their currents, everywhere and with no jump', () => {
    fc.assert(
      fc.property(fc.constantFrom(...screens), volts, ({ model }, { plate, screen, grid }) => {
        const f = (p: number, s: number, g: number) => screenTubeWithSlopes(model, p, s, g)
        const at = f(plate, screen, grid)
        const [pa, pb] = [f(plate + h, screen, grid), f(plate - h, screen, grid)]
        const [sa, sb] = [f(plate, screen + h, grid), f(plate, screen - h, grid)]
        const [ga, gb] = [f(plate, screen, grid + h), f(plate, screen, grid - h)]
        const scale = 10 * model.K
        agrees(at.plate_by_plate_S, pa.plate_A, pb.plate_A, scale)
        agrees(at.plate_by_screen_S, sa.plate_A, sb.plate_A, scale)
        agrees(at.plate_by_grid_S, ga.plate_A, gb.plate_A, scale)
        agrees(at.screen_by_plate_S, pa.screen_A, pb.screen_A, scale)
        agrees(at.screen_by_screen_S, sa.screen_A, sb.screen_A, scale)
        agrees(at.screen_by_grid_S, ga.screen_A, gb.screen_A, scale)
      }),
      { numRuns: 2000, seed: 2 },
    )
  })

  test('currents and slopes do not jump where an electrode passes zero volts', () => {
    const near = 1e-7
    const still = (a: Record<string, number>, b: Record<string, number>, K: number) => {
      for (const key of Object.keys(a)) expect(Math.abs(a[key]! - b[key]!)).toBeLessThan(2e-3 * K)
    }
    for (const { model } of triodes as { model: TriodeModel }[])
      for (const grid of [-5, -0.5, 0, 0.5, 5])
        still(
          { ...triodeWithSlopes(model, -near, grid) },
          { ...triodeWithSlopes(model, near, grid) },
          model.K,
        )
    for (const { model } of screens as { model: ScreenModel }[])
      for (const grid of [-5, -0.5, 0, 0.5, 5]) {
        const plate = [
          screenTubeWithSlopes(model, -near, 100, grid),
          screenTubeWithSlopes(model, near, 100, grid),
        ] as const
        still({ ...plate[0] }, { ...plate[1] }, model.K)
        const screen = [
          screenTubeWithSlopes(model, 100, -near, grid),
          screenTubeWithSlopes(model, 100, near, grid),
        ] as const
        still({ ...screen[0] }, { ...screen[1] }, model.K)
      }
  })
})

test('plate and screen of a tube together never exceed what its cathode can give at that grid', () => {
  fc.assert(
    fc.property(
      fc.constantFrom(...screens),
      fc.double({ min: 0, max: 600, noNaN: true }),
      fc.double({ min: 1, max: 300, noNaN: true }),
      fc.double({ min: -40, max: 0, noNaN: true }),
      ({ model }, plate, screen, grid) => {
        const at = screenTubeWithSlopes(model, plate, screen, grid)
        // The space current itself: the plate's share with its own slope taken out.
        const high = screenTubeWithSlopes({ ...model, Va: 1e12, Vk: 1e-9 }, 1e6, screen, grid).plate_A
        const most = high * (1 + plate / model.Va + 1 + model.r)
        expect(at.plate_A + at.screen_A).toBeLessThanOrEqual(most + 1e-12)
      },
    ),
    { numRuns: 1000, seed: 3 },
  )
})

test("an owner's type, whatever its sheet prints, gets curves that are finite and never negative", () => {
  const row = fc.record({
    plate_V: fc.double({ min: 20, max: 3000, noNaN: true }),
    screen: fc.double({ min: 0.2, max: 1.5, noNaN: true }),
    bias: fc.double({ min: 0, max: 1, noNaN: true }),
    plate_A: fc.double({ min: 1e-4, max: 1, noNaN: true }),
    gm: fc.option(fc.double({ min: 0.2, max: 20, noNaN: true }), { nil: null }),
  })
  const source = 'invented for this test'
  const figure = (value: number) => ({ value, source, confidence: 'owner' })
  fc.assert(
    fc.property(
      fc.constantFrom('triode', 'pentode'),
      fc.array(row, { minLength: 1, maxLength: 4 }),
      (kind, rows) => {
        const { record, problems } = defineTube({
          type: 'X',
          aliases: [],
          kind,
          cathode: 'indirect',
          sections: [{ name: kind, curves: kind === 'triode' ? 'triode' : 'screen' }],
          heater: { volts: figure(6.3), amps: figure(0.3) },
          rating_system: { system: 'unknown', source, confidence: 'owner' },
          max: {},
          points: rows.map(({ plate_V, screen, bias, plate_A, gm }) => ({
            class: 'class A1 characteristics',
            section: 0,
            plate_V,
            screen_V: kind === 'triode' ? null : screen * plate_V,
            grid_V: (-bias * plate_V) / 20,
            plate_A,
            gm_S: gm === null ? null : (gm * plate_A) / 5,
            source,
            confidence: 'owner',
          })),
          service: [],
        })
        expect(problems).toEqual([])
        const model = record?.sections[0]?.model
        if (model == null) throw new Error('no curves')
        for (const plate of [-50, 0, 1, 30, 300, 3000])
          for (const grid of [-300, -30, -3, 0, 3])
            if (model.form === 'triode') sane({ ...triodeWithSlopes(model, plate, grid) }, 'owner')
            else if (model.form === 'screen')
              for (const screen of [0, 100, 400])
                sane({ ...screenTubeWithSlopes(model, plate, screen, grid) }, 'owner')
      },
    ),
    { numRuns: 60, seed: 5 },
  )
})

test('a heater draws more with more volts, whatever its rating and its cold ratio', () => {
  fc.assert(
    fc.property(
      fc.double({ min: 1, max: 50, noNaN: true }),
      fc.double({ min: 0.05, max: 10, noNaN: true }),
      fc.double({ min: 2, max: 10, noNaN: true }),
      (V, A, ratio) => {
        let before = 0
        for (let k = 1; k <= 200; k++) {
          const I = heaterCurrent(V, A, (V * k) / 100, ratio)
          if (!(I > before)) return false
          before = I
        }
        return true
      },
    ),
    { numRuns: 100, seed: 4 },
  )
})
