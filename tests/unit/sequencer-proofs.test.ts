import { describe, expect, it } from 'vitest'
import type { LineFailure } from '../../src/exchange/index.js'
import type { Plan, Proof } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'
import { known, partOf, ran, reason, standing, steps } from '../helpers/standing.js'

/* What is expected of a supply while something is brought about on purpose, and what trips all the same. */

const proofOf = (of: Proof['of'], more: Partial<Proof> = {}): Proof => ({
  of,
  channel: 'ht.1',
  limit_A: null,
  level: null,
  within_s: 10,
  because: 'Invented for this test.',
  ...more,
})
const overCurrent = proofOf('over-current', { level: 0.03 })

/** The last step proves this of HT at its volts. */
const proves =
  (proof: Proof, change: (plan: Plan) => Plan = (plan) => plan) =>
  (plan: Plan): Plan => ({
    ...change(
      steps((step) => (step.do === 'hold' ? { ...step, do: 'prove', rail: 'HT', proof } : step))(plan),
    ),
    kind: 'qualify',
  })
const proving = (proof: Proof, change?: (plan: Plan) => Plan): Rig =>
  partOf(new Rig(smallPlan(proves(proof, change))).start(), 7, 'prove watch')

/** HT and bias are outputs of one supply. */
const oneSupply = (plan: Plan): Plan => ({
  ...plan,
  rails: Object.fromEntries(
    Object.entries(plan.rails).map(([name, rail]) => [
      name,
      name === 'LT' ? rail : { ...rail, channels: rail.channels.map((part) => ({ ...part, port: 'both' })) },
    ]),
  ),
})

/** What goes off at the terminals of HT by whatever cut it, while its output stays on. */
const cut = (rig: Rig): Rig => {
  rig.sag_V['HT'] = -(rig.set['ht.1'] ?? 0)
  rig.volts['ht.1'] = 0
  return rig
}
const closed = (rig: Rig): Rig => {
  rig.sag_V['HT'] = 0
  return rig
}
const judgements = (rig: Rig): string =>
  rig.commands
    .flatMap((command) =>
      command.kind === 'record' && command.entry.what === 'judgement' ? [command.entry.text] : [],
    )
    .join('\n')

describe('while a protection is being provoked', () => {
  it('a current above the ceiling ends the run as ever', () => {
    const rig = proving(overCurrent)
    rig.extra_A['HT'] = 0.2
    rig.tick()
    expect(reason(rig)).toMatchObject({ code: 'over-ceiling', rail: 'HT', unit: 'A' })
  })

  it('a supply that will not take the level has answered, and its usual limits are put back', () => {
    const rig = refused(overCurrent, 'refused')
    expect(reason(rig)).toBeUndefined()
    expect(rig.state.proof).toMatchObject({ result: 'refused' })
    expect(judgements(rig)).toMatch(/HT: over-current could not be provoked: not taken/)
  })

  it.each(['no reply', 'closed'] as const)('one whose line gives %s has not', (code) => {
    expect(reason(refused(overCurrent, code))).toMatchObject({ code: 'line-lost', rail: 'HT' })
  })

  it('one that does not take its usual limits back afterwards is no answer', () => {
    const rig = refused(overCurrent, 'refused', 2)
    expect(rig.state.proof).toMatchObject({ result: 'refused' })
    expect(reason(rig)).toMatchObject({ code: 'read-back', rail: 'HT' })
  })

  /** Answers the next request of a kind like this, or so many. */
  function answers(rig: Rig, to: 'limits' | 'zero', code: LineFailure, times = 1): void {
    let left = times
    rig.overhears = (command) => {
      if (command.kind !== 'line' || command.channel !== 'ht.1' || command.do !== to) return
      left -= 1
      if (left === 0) rig.overhears = null
      rig.feed({ kind: 'failed', id: command.id, code, text: 'not taken', outcome: 'not done' })
    }
  }
  function refused(proof: Proof, code: LineFailure, times = 1): Rig {
    const rig = partOf(new Rig(smallPlan(proves(proof))).start(), 7, 'intent')
    answers(rig, 'limits', code, times)
    rig.until('it was told', () => rig.overhears === null)
    return rig
  }

  it('a set-point that does not go to zero is turned down by a person where the supply refuses it, and a lost line where it is silent', () => {
    const zeroed = (code: LineFailure): Rig => {
      const rig = proving(proofOf('off'))
      known(rig, { part: 'prove off', proof: rig.state.proof && { ...rig.state.proof, off: false } })
      answers(rig, 'zero', code)
      ran(rig, 9)
      expect(rig.overhears).toBeNull()
      return rig
    }
    const latched = zeroed('refused')
    expect(latched.state.warnings.join()).toContain(
      'ht.1 keeps its set-point while its protection is latched',
    )
    expect(reason(zeroed('no reply'))).toMatchObject({ code: 'line-lost', rail: 'HT' })
    expect(reason(zeroed('closed'))).toMatchObject({ code: 'line-lost', rail: 'HT' })
  })
})

describe('a protection that fires', () => {
  const fires = (rig: Rig, channel: string, which: 'over-current' | 'over-temperature' | 'dead-man'): Rig => {
    rig.feed({ kind: 'protection', channel, which })
    return rig
  }

  it('for too much current on another output of that supply is no part of the proof', () => {
    const rig = proving(overCurrent, oneSupply)
    expect(reason(fires(rig, 'ht.1', 'over-current'))).toBeUndefined()
    expect(reason(fires(rig, 'bias.1', 'over-current'))).toMatchObject({ code: 'protection', rail: 'BIAS' })
  })

  it('by a dead-man that is not fed may be told by any output of that supply, and by no other', () => {
    const dead = (): Rig =>
      proving(proofOf('dead-man'), (plan) =>
        oneSupply(steps((step) => (step.proof ? { ...step, target_V: 5 } : step))(plan)),
      )
    expect(reason(fires(dead(), 'bias.1', 'dead-man'))).toBeUndefined()
    expect(reason(fires(dead(), 'lt.1', 'dead-man'))).toMatchObject({ code: 'protection', rail: 'LT' })
  })

  /** A run in its last hold; the step of this index has proved, or will prove, the dead-man. */
  const provedIn = (index: number, latched: boolean, of: Proof['of'] = 'dead-man'): Rig => {
    const rig = standing(oneSupply)
    const proof = proofOf(of)
    const { plan } = rig.state
    const with_ = steps((step) => (step.index === index ? { ...step, proof } : step))(plan)
    const last = with_.steps.at(-1)
    if (last === undefined) throw new Error('no step')
    const after = { ...with_, steps: [...with_.steps, { ...last, index: 9, ...(index === 9 && { proof }) }] }
    return known(rig, { plan: after, latched })
  }

  it('by a dead-man that was proved before may be told late, by the other outputs too', () => {
    for (const channel of ['ht.1', 'bias.1'])
      expect(reason(fires(provedIn(4, true), channel, 'dead-man'))).toBeUndefined()
  })

  it('late means after its proof and before it was cleared, and by that protection', () => {
    for (const [rig, which] of [
      [provedIn(9, true), 'dead-man'],
      [provedIn(4, false), 'dead-man'],
      [provedIn(4, true), 'over-current'],
    ] as const)
      expect(reason(fires(rig, 'ht.1', which))).toMatchObject({ code: 'protection', rail: 'HT' })
  })

  it('by whatever name after an outside timer cut is told late, but not as too much current', () => {
    const cutBefore = (): Rig => provedIn(4, true, 'outside timer')
    expect(reason(fires(cutBefore(), 'ht.1', 'over-temperature'))).toBeUndefined()
    expect(reason(fires(cutBefore(), 'ht.1', 'over-current'))).toMatchObject({ code: 'protection' })
  })

  it('without the supply saying so is warned of; of a relay outside of it nothing is expected', () => {
    const unsaid = (proof: Proof): Rig => {
      const rig = ran(proving(proof), 0.2)
      return cut(rig).until('it is taken as fired', () => rig.state.part === 'prove off', 8)
    }
    const words = 'fired without the supply saying so'
    expect(unsaid(overCurrent).state.warnings.join()).toContain(words)
    for (const of of ['cut-off relay', 'dead-man'] as const)
      expect(unsaid(proofOf(of)).state.warnings.join()).not.toContain(words)
    const said = fires(ran(proving(overCurrent), 0.2), 'ht.1', 'over-current')
    cut(said).until('it is taken as fired', () => said.state.part === 'prove off', 2)
    expect(said.state.warnings.join()).not.toContain(words)
  })
})

describe('an outside timer that is waited for', () => {
  const waiting = (): Rig => ran(proving(proofOf('outside timer', { within_s: 60 })), 0.5)

  it('has cut once the volts went and stayed away: the output is told OFF then, and what may be latched is cleared', () => {
    const rig = waiting()
    const from = rig.commands.length
    ran(cut(rig), 14)
    expect(rig.state.part).toBe('prove watch')
    expect(rig.commands.slice(from).filter(({ kind }) => kind === 'line')).toEqual([])
    rig.until('it is taken as cut', () => rig.state.part === 'prove off', 2)
    expect(rig.state).toMatchObject({ phase: 'running', latched: true })
    expect(judgements(rig)).toMatch(/the outside timer cut .* and stayed away for 15 s/)
  })

  it('that bounces as it opens has not closed again: five seconds are given to that', () => {
    const rig = ran(closed(ran(cut(waiting()), 1)), 1)
    expect(reason(rig)).toBeUndefined()
    expect(rig.state.part).toBe('prove watch')
  })

  it('that closes again by its own clock ends the run with the volts that came back', () => {
    const rig = ran(cut(waiting()), 8)
    expect(reason(rig)).toBeUndefined()
    ran(closed(rig), 1)
    expect(reason(rig)).toMatchObject({ rail: 'HT', unit: 'V' })
    expect(reason(rig)?.measured).toBeCloseTo(250, 0)
    expect(reason(rig)?.text).toContain('came back by itself')
    expect(judgements(rig)).toContain('came back by itself')
  })
})

it('an output that does not go off when it is told ends the run with the volts that stand there', () => {
  const rig = partOf(new Rig(smallPlan(proves(proofOf('off', { within_s: 2 })))).start(), 7, 'intent')
  rig.ignoresOff.add('ht.1')
  expect(reason(ran(rig, 15))).toMatchObject({ code: 'wont-fall', rail: 'HT', limit: 5, unit: 'V' })
  expect(reason(rig)?.measured).toBeCloseTo(250, 0)
})
