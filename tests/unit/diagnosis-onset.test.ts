import { describe, expect, it } from 'vitest'
import { diagnosisOf, type Fault, faultsOf, type Seen } from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { readFault } from '../../src/virtual/index.js'
import { faultySets } from '../helpers/faulty-sets.js'
import { rehearsed } from '../helpers/mid-run.js'

const all = loadAll('profiles/small-receiver/receive-network.yaml').value
if (all === null) throw new Error('the small receiver does not load')
const { equipment, bench } = all
const { plan } = makePlan(all.profile, equipment, bench)
if (plan === null) throw new Error('no plan')
const set = { equipment, bench, plan }
const draw = faultySets(equipment, bench, plan)

/** A healthy set up to its last step but one, which then tripped at these figures. */
function brokeDown(volts: number, amps: number): Seen {
  const { seen } = draw(null, 4)
  const steps = seen.steps.slice(0, -2)
  const last = seen.steps.at(-2)
  if (last === undefined) throw new Error('no step')
  return {
    ...seen,
    steps: [...steps, { ...last, rails: { ...last.rails, HT: { volts, amps } } }],
    tripped: { step: last.step, text: 'HT drew more than its ceiling' },
  }
}

describe('a part that breaks down at volts', () => {
  it('and takes the rail to nothing is named as having come in that step, whatever the steps before said', () => {
    const told = diagnosisOf({ ...set, seen: brokeDown(0.1, 0.059) })
    const [first] = told.hypotheses
    expect([first?.fault, ...(first?.tied_with ?? [])]).toContain('C1:short')
    expect(first?.explains).toMatch(/^came in step \d+, not before/)
    // A supply at its limit lets no more through than was measured, and an ampere is not told where 59 mA were read.
    for (const { what, predicted, measured } of first?.predicted ?? [])
      if (what.includes('volts fallen')) expect(predicted).toBeLessThanOrEqual(measured)
    expect(told.nothing.probability).toBeLessThan(0.01)
  })
  it('is caught on its way up: what tripped is the least that it draws', () => {
    const { hypotheses } = diagnosisOf({ ...set, seen: brokeDown(200, 0.13) })
    const among = hypotheses.slice(0, 3).flatMap(({ fault, tied_with }) => [fault, ...tied_with])
    expect(among).toContain('C1:short')
  })
  it('behind a choke is told from one at the supply by the volts that are left', () => {
    const told = diagnosisOf({ ...set, seen: brokeDown(17, 0.059) })
    const [first] = told.hypotheses
    const named = [first?.fault, ...(first?.tied_with ?? [])]
    expect(named).toContain('C2:short')
    expect(named).not.toContain('C1:short')
  })
})

const named = (name: string): Fault => {
  const fault = faultsOf(equipment).find(({ fault: each }) => each === name)
  if (fault === undefined) throw new Error(`${name} is not in the library`)
  return fault
}

describe('a part that fails in the middle of a run', () => {
  it('which goes on is named, with the step that it came in, though the steps before say that nothing is wrong', () => {
    const whole = draw(null, 4).seen
    const failed = draw(named('V4:no-emission'), 4).seen
    const at = whole.steps.length - 2
    const seen = { ...whole, steps: [...whole.steps.slice(0, at), ...failed.steps.slice(at)] }
    const [first] = diagnosisOf({ ...set, seen }).hypotheses
    expect([first?.fault, ...(first?.tied_with ?? [])]).toContain('V4:no-emission')
    expect(first?.explains).toMatch(new RegExp(`^came in step ${whole.steps[at]?.step ?? ''}, not before`))
  })
  it('of a whole rehearsal at volts is named from its record as having come in the step that tripped', () => {
    const fault = readFault('C5:short@HT>170V', equipment, bench)
    const seen = rehearsed(set, fault.ok ? fault.value : null, 6)
    expect(seen.tripped).not.toBeNull()
    const [first] = diagnosisOf({ ...set, seen }).hypotheses
    expect([first?.fault, ...(first?.tied_with ?? [])]).toContain('C5:short')
    expect(first?.explains).toMatch(new RegExp(`^came in step ${seen.tripped?.step ?? ''}, not before`))
  })
})
