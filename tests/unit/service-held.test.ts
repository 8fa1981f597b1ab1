import { describe, expect, it } from 'vitest'
import type { LiveView } from '../../src/service/api/index.js'
import { HeldLately } from '../../src/service/held.js'

const limits = { lower_A: 1, upper_A: 2, trip_A: 3, ceiling_A: 4 }
const at = (elapsed_s: number, more: object = {}): LiveView =>
  ({ elapsed_s, rails: [{ rail: 'HT', limits, ...more }] }) as unknown as LiveView

describe('what the service remembers of the limits in force', () => {
  it('is each change: wider while capacitors charge, none while heaters are cold, and no small steps', () => {
    const held = new HeldLately()
    held.see(at(1, { soft_start: true }))
    held.see(at(2, { charging_A: 0.5 }))
    held.see(at(3, { charging_A: 0.505 }))
    held.see(at(4))
    held.see(at(5))
    expect(held.told().rails).toEqual([
      {
        rail: 'HT',
        t_s: [1, 2, 4],
        lower_A: [null, 1, 1],
        upper_A: [null, 2, 2],
        trip_A: [null, 3.5, 3],
        ceiling_A: [null, 4.5, 4],
      },
    ])
  })

  it('begins anew with the clock of the run, and keeps some minutes with what held when they began', () => {
    const held = new HeldLately()
    held.see(at(500))
    held.see(at(0, { charging_A: 1 }))
    held.see(at(10, { charging_A: 2 }))
    held.see(at(20))
    held.see(at(195))
    expect(held.told().rails[0]?.t_s).toEqual([10, 20])
    held.begin()
    expect(held.told().rails).toEqual([])
  })
})
