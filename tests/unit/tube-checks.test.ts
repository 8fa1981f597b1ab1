import { copyFileSync, mkdirSync, mkdtempSync, readdirSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import type { Io } from '../../src/cli/io.js'
import { tube } from '../../src/cli/commands/tube.js'
import { planFiles } from '../../src/cli/plan-files.js'
import type { Plan } from '../../src/plan/index.js'
import { findTube, type OwnerCheck, withChecks } from '../../src/tubes/index.js'

const folder = mkdtempSync(join(tmpdir(), 'checks-'))
const set = join(folder, 'set')
mkdirSync(set)
for (const name of readdirSync('profiles/tern-rock'))
  copyFileSync(join('profiles/tern-rock', name), join(set, name))
const env = { HOME: join(folder, 'home') }
const io: Io = { out: () => {}, err: () => {}, isTerminal: false, colour: false, cwd: folder, env }
afterAll(() => {
  rmSync(folder, { recursive: true })
})

const planned = () => planFiles(join(set, 'receive.yaml'), undefined, folder, env)
const reasons = (plan: Plan | null) =>
  [...new Set(plan?.steps.flatMap((step) => Object.values(step.limits).flatMap((each) => each.because)))]
    .filter(({ text }) => text.includes('V2 (6BE6) plate dissipation'))
    .map(({ source }) => source)

describe("an owner's checks of tube figures, in a plan", () => {
  it('turn an unverified ceiling into one with the sheet named, and change no figure', () => {
    const before = planned().plan
    expect(reasons(before)[0]).toMatch(/^unverified, check your manual/)
    const checked = { verify: ['plate_W=1'], sheet: 'my manual of 1959, page 300' }
    expect(tube('6BE6', checked, io)).toBe(0)
    const after = planned().plan
    expect(reasons(after).length).toBeGreaterThan(0)
    for (const source of reasons(after)) {
      expect(source).toMatch(/^checked by the owner on .*: my manual of 1959, page 300; from memory/)
    }
    const figures = (plan: Plan | null) => plan?.steps.map((step) => step.limits['HT']?.ceiling_A)
    expect(figures(after)).toEqual(figures(before))
  })

  it("beside the set's file count last", () => {
    expect(tube('6BE6', { verify: ['plate_W=1'], sheet: "the set's handbook, page 9", in: set }, io)).toBe(0)
    for (const source of reasons(planned().plan)) expect(source).toContain("the set's handbook, page 9")
  })

  it('in a file that cannot be read are told and count for nothing', () => {
    writeFileSync(join(set, 'tube-checks.json'), '{}')
    const { plan, problems } = planned()
    expect(plan).not.toBeNull()
    expect(problems).toContainEqual(
      expect.objectContaining({
        severity: 'warning',
        what: expect.stringContaining('tube-checks.json') as string,
      }),
    )
  })
})

it('the last check of a figure counts, and a later difference takes an agreement back', () => {
  const { found } = findTube('6BE6')
  if (found === null) throw new Error('6BE6')
  const check = (value: number, sheet: string): OwnerCheck => ({
    type: '6BE6',
    figure: 'plate_W',
    value,
    sheet,
    on: '2025-01-31',
  })
  expect(withChecks(found, [check(1, 'first sheet')]).max.plate_W?.confidence).toBe('owner')
  const after = withChecks(found, [check(1, 'first sheet'), check(1.1, 'second sheet')]).max.plate_W
  expect(after).toMatchObject({ value: 1, confidence: 'from memory' })
  expect(after?.source).toContain('second sheet')
})
