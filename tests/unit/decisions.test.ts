import { describe, expect, it } from 'vitest'
import { decided, folder, keptFiles, readDecided } from '../helpers/decisions.js'

/*
 * What was decided once is decided again: every question to a line, every OFF, every prompt, every entry of the record and the ending, to the
 * last digit, of kept runs with faults of every kind. Where the program is to decide otherwise, look at what differs; then choose anew
 * (tests/simulator/main.ts).
 */
for (const path of keptFiles(folder)) {
  const { plan, runs } = readDecided(path)
  describe(`decisions of ${path}`, () => {
    for (const { of, fed, gave } of runs)
      it(of, () => {
        const kept = new Map(gave.map(([at, commands]) => [at, JSON.stringify(commands)]))
        let differs: { readonly at: number; readonly now: string } | null = null
        decided(plan, fed, (at, now) => {
          if (now !== (kept.get(at) ?? '[]')) differs = { at, now }
          return differs !== null
        })
        const first = differs as { readonly at: number; readonly now: string } | null
        if (first === null) return
        const told = `event ${first.at}, ${JSON.stringify(fed[first.at])}`
        expect(JSON.parse(first.now), told).toEqual(JSON.parse(kept.get(first.at) ?? '[]'))
        expect.fail(told)
      })
  })
}
