import fc from 'fast-check'
import { afterAll, expect } from 'vitest'

// One seed for everyone, so that a green main stays green; SLOWGLOW_SEED=12345 (any number) looks elsewhere.
fc.configureGlobal({ seed: Number(process.env['SLOWGLOW_SEED'] ?? 1953) })

// What tests feed their sequencers, laid down where that was asked for; the name is given from here since benchmarks use the same rig.
if (process.env['SLOWGLOW_LAY_DOWN'] !== undefined) {
  Object.assign(globalThis, { nameOfTest: () => expect.getState().currentTestName ?? '' })
  afterAll(async () => {
    const { laidDown } = await import('./helpers/decisions.js')
    laidDown()
  })
}
