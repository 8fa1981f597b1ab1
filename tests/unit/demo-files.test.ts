import { describe, expect, it } from 'vitest'
import * as z from 'zod'
import { check } from '../../src/cli/commands/check.js'
import { benchShape } from '../../src/bench/index.js'
import { equipmentShape, toNetwork, type Equipment } from '../../src/equipment/index.js'
import { loadAll } from '../../src/files/index.js'
import { solve } from '../../src/network/index.js'
import { profileShape } from '../../src/profile/index.js'
import { findTube } from '../../src/tubes/index.js'

function demo(): Equipment {
  const { value } = loadAll('profiles/tern-rock/receive.yaml')
  if (value === null) throw new Error('the demo is not sound')
  return value.equipment
}
function solved(mode: string, HT_V: number) {
  const network = toNetwork(demo(), mode, {
    heaters: { V: 12.6, limit_A: 10, ohm: 0.02 },
    bias: { V: 60, limit_A: 0.2, ohm: 0.2 },
    HT: { V: HT_V, limit_A: 0.3, ohm: 0.2 },
  })
  const solution = solve(network)
  expect(solution.converged, solution.trouble ?? '').toBe(true)
  return { network, ...solution, at: (node: string) => solution.volts[node] ?? Number.NaN }
}

describe('the files in profiles/', () => {
  it.each([
    'tern-rock/receive',
    'tern-rock/transmit',
    'tern-rock/reform',
    'tern-rock/reform-in-place',
    'small-receiver/receive',
    'small-receiver/receive-charts',
  ])('%s passes check without a warning', (name) => {
    const said: string[] = []
    const io = {
      out: (text: string) => said.push(text),
      err: () => undefined,
      isTerminal: false,
      colour: false,
      cwd: process.cwd(),
      env: {},
    }
    expect(check([`profiles/${name}.yaml`], false, io)).toBe(0)
    expect(said.join('\n')).toMatch(/^[34] files checked: nothing wrong\.$/)
  })

  it('Tern Rock has what the demo must show', () => {
    const { tubes, parts, heater_chains, rails, level } = demo()
    expect(level).toBe(3)
    expect(Object.values(tubes).filter(({ pulled }) => pulled !== true).length).toBeGreaterThanOrEqual(12)
    const electrolytics = Object.values(parts).filter(
      (part) => part.kind === 'capacitor' && part.dielectric === 'electrolytic',
    )
    expect(electrolytics.length).toBeGreaterThanOrEqual(4)
    expect(new Set(electrolytics.map((part) => ('can' in part ? part.can : undefined))).has('C1')).toBe(true)
    expect(Object.values(heater_chains).some(({ series }) => series.some((group) => group.length > 1))).toBe(
      true,
    )
    expect(rails['bias']?.polarity).toBe('negative')
  })

  it.each([
    ['receive', 250, 60, 95],
    ['transmit', 400, 100, 140],
  ] as const)(
    'Tern Rock in %s at %d V draws a plausible total and keeps every part within its rating',
    (mode, HT_V, low_mA, high_mA) => {
      const { network, at, currents } = solved(mode, HT_V)
      const total_mA = Math.abs(currents['HT']?.a ?? 0) * 1000
      expect(total_mA).toBeGreaterThan(low_mA)
      expect(total_mA).toBeLessThan(high_mA)
      const { parts, tubes } = demo()
      for (const element of network.elements) {
        const part = parts[element.name]
        if (element.kind === 'resistor' && part !== undefined && 'rated_W' in part && part.rated_W !== null) {
          const volts = at(element.a) - at(element.b)
          expect((volts * volts) / element.ohm, element.name).toBeLessThan(0.6 * part.rated_W)
        }
        if (element.kind === 'inductor' && part !== undefined && 'rated_A' in part && part.rated_A !== null)
          expect(Math.abs(at(element.a) - at(element.b)) / element.ohm, element.name).toBeLessThan(
            part.rated_A,
          )
        if (element.kind === 'capacitor' && part?.kind === 'capacitor')
          expect(Math.abs(at(element.a) - at(element.b)), element.name).toBeLessThan(part.rated_V)
        if (element.kind !== 'screen tube' && element.kind !== 'triode') continue
        const max = findTube(tubes[element.name.split('.')[0] ?? '']?.type ?? '').found?.max
        const plate_V = at(element.plate) - at(element.cathode)
        const plate_W = plate_V * (currents[element.name]?.plate ?? 0)
        expect(plate_V, element.name).toBeLessThanOrEqual(max?.plate_V?.value ?? Infinity)
        expect(plate_W, element.name).toBeLessThanOrEqual(max?.plate_W?.value ?? Infinity)
        if (element.kind !== 'screen tube') continue
        const screen_V = at(element.screen) - at(element.cathode)
        expect(screen_V, element.name).toBeLessThanOrEqual((max?.screen_V?.value ?? Infinity) * 1.03)
        expect(screen_V * (currents[element.name]?.screen ?? 0), element.name).toBeLessThanOrEqual(
          max?.screen_W?.value ?? Infinity,
        )
      }
    },
  )

  it('Tern Rock runs its tubes near their published points at 250 V', () => {
    const { at, currents } = solved('receive', 250)
    // 6SK7: 250/100/-3 V gives 9.2 + 2.6 mA (from memory: receiving tube manual).
    expect((currents['V1']?.plate ?? 0) * 1000).toBeCloseTo(9.2, -0.5)
    expect(at('v1 screen')).toBeGreaterThan(95)
    expect(at('v1 screen')).toBeLessThan(110)
    // 0A2: 150 V, 5 to 30 mA (from memory: receiving tube manual).
    expect(at('regulated line')).toBeGreaterThan(147)
    expect(at('regulated line')).toBeLessThan(153)
    expect((currents['V9']?.a ?? 0) * 1000).toBeGreaterThan(5)
  })

  it('Tern Rock holds its output stage cut off while undriven', () => {
    const { at, currents } = solved('transmit', 400)
    expect((currents['V12']?.plate ?? 1) * 1000).toBeLessThan(0.5)
    expect(at('grid return')).toBeLessThan(-55)
  })

  it('Tern Rock stands no hold where its regulator may or may not have struck', () => {
    const { value } = loadAll('profiles/tern-rock/receive.yaml')
    const model = findTube('0A2').found?.sections[0]?.model
    expect(model?.form).toBe('regulator')
    for (const stage of value?.profile.stages ?? []) {
      if (stage.do !== 'ramp' || stage.rail !== 'HT') continue
      for (const HT_V of stage.to_V) {
        const dark = solve(
          toNetwork(
            demo(),
            'receive',
            { heaters: { V: 12.6, limit_A: 10, ohm: 0.02 }, HT: { V: HT_V, limit_A: 0.3, ohm: 0.2 } },
            { lit: () => false },
          ),
        ).volts['regulated line']
        // Strikes by 185 V at the latest, typically at 155 V (published and from memory, in the tube data).
        expect(
          dark !== undefined && (dark < 150 || dark > 185),
          `${HT_V} V puts ${dark} V on the dark regulator`,
        ).toBe(true)
      }
    }
  })

  it('shapes can be exported as JSON Schema, with units and descriptions', () => {
    for (const shape of [equipmentShape, benchShape, profileShape]) {
      const text = JSON.stringify(z.toJSONSchema(shape, { io: 'input' }))
      expect(text).toContain('such as')
      expect(text).toContain('pattern')
    }
  })
})
