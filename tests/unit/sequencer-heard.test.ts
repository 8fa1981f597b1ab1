import { describe, expect, it } from 'vitest'
import type { LineFailure, LineRequestBody } from '../../src/exchange/index.js'
import type { MeterPlan, Plan } from '../../src/plan/index.js'
import { begin, type EventBody, type State, step } from '../../src/sequencer/index.js'
import { amps, MidStep, shown, tick, volts } from '../helpers/mid-step.js'
import { proofOf } from '../helpers/proving.js'
import { smallPlan } from '../helpers/small-plan.js'

/* What is heard before a run, at its beginning, of a clock that is late, and of a supply that would not do as it was told. */

const holds = 7
const after = (state: State, body: EventBody): State =>
  step(state, { ...body, t_us: state.t_us + 1000 }).state

describe('before a run', () => {
  it('a protection that fired ends it as failed, not as a trip of something that stood: nothing is to be read in the set', () => {
    const s = after(begin(smallPlan()), { kind: 'protection', channel: 'ht.1', which: 'over-current' })
    expect(s.off).toMatchObject({ outcome: 'failed', reason: { code: 'protection', rail: 'HT' } })
    expect(s.off?.reason?.text).not.toContain('Next:')
  })

  it('a line that is lost is none to begin with, though only a meter that informs is on it', () => {
    const plan = smallPlan((made): Plan => {
      const M: MeterPlan = {
        ...{ ...made.meters['grid meter']!, name: 'M', port: 'M', at: null },
        watch: { uses: [], needed: false, stale_s: 1, limits: [], falls: null },
      }
      return { ...made, meters: { ...made.meters, M } }
    })
    const lost = { kind: 'line lost', port: 'M', text: 'nobody answers' } as const
    expect(after(begin(plan), lost).off?.reason?.code).toBe('line-lost')
    expect(new MidStep(plan, holds, 'hold').hear(0, lost).reason).toBeNull()
  })
})

describe('the beginning of a run', () => {
  it('counts nothing that its terminals showed before', () => {
    const s = begin(smallPlan())
    const seen = { nothing: { V: 3, A: 3 }, lowest: { value: 2, t_us: 1 } }
    const known = { ...s, channels: { ...s.channels, 'ht.1': { ...s.channels['ht.1']!, ...seen } } }
    const begun = after(known, {
      ...{ kind: 'begin', word: 'kettle', channel: 'terminal', hooked_up_as_in: null },
    })
    expect(begun.channels['ht.1']).toMatchObject({ nothing: { V: 0, A: 0 }, lowest: null })
  })
})

describe('a tick that comes late', () => {
  const late = (seconds: number): MidStep => {
    const run = new MidStep(smallPlan(), holds, 'hold').justBegun()
    return run.hear(0.01, { ...tick, late_us: seconds * 1e6 } as typeof tick)
  }

  it('is told above a quarter of a second and ends the run above half a one, not at either', () => {
    const of = (seconds: number): readonly [string, string | null] => {
      const run = late(seconds)
      return [run.state.warnings.join(), run.reason?.code ?? null]
    }
    expect(of(0.25)).toEqual(['', null])
    expect(of(0.26)).toEqual(['A tick came 0.26 s late.', null])
    expect(of(0.5)).toEqual(['A tick came 0.50 s late.', null])
    expect(of(0.51)).toEqual(['', 'late-tick'])
  })
})

describe('a request that a supply does not do once its protection was proved', () => {
  const failed = (request: LineRequestBody, code: LineFailure): MidStep => {
    const plan = smallPlan((made) => ({
      ...made,
      steps: made.steps.map((each, at) =>
        at === holds ? { ...each, do: 'prove', rail: 'HT', proof: proofOf('over-voltage') } : each,
      ),
    }))
    const run = new MidStep(plan, holds, 'prove off', {
      pending: { 5: { channel: 'ht.1', request, t_us: 1 } },
    })
    return run.justBegun().hear(0.01, { kind: 'failed', id: 5, code, text: 'it failed', outcome: 'not done' })
  }

  it('is a person’s to do where it is its set-point that was refused', () => {
    const run = failed({ do: 'zero' }, 'refused')
    expect(run.reason).toBeNull()
    expect(run.state.warnings.join()).toContain('ht.1 keeps its set-point')
  })

  it('ends the run where it is its OFF, and where another supply answers than the one that was asked', () => {
    expect(failed({ do: 'off' }, 'refused').reason).toMatchObject({ code: 'read-back', rail: 'HT' })
    expect(failed({ do: 'zero' }, 'wrong supply').reason).toMatchObject({ code: 'line-lost', rail: 'HT' })
  })
})

describe('the reading that takes a run off', () => {
  it('was made before the OFF, and says nothing of what became of it', () => {
    const run = new MidStep(smallPlan(), holds, 'hold').hear(0.05, volts('ht.1', 400))
    expect(run.state.phase).toBe('making off')
    expect(run.state.off?.readings).toEqual({})
    run.hear(0.05, volts('ht.1', 240))
    expect(Object.values(run.state.off?.readings ?? {})).toMatchObject([{ value: 240 }])
  })
})

describe('a current above its ceiling while a run goes down by itself', () => {
  it('is told as what it is: the bias is judged no more', () => {
    const run = new MidStep(smallPlan(), holds, 'hold').hear(0.1, shown('grid meter', -10))
    run.hear(0.05, { kind: 'stop', how: 'run down', by: 'a person' }).hear(0.05, amps('ht.1', 0.2))
    const told = run.commands.flatMap((one) => (one.kind === 'record' ? [one.entry.text] : []))
    expect(told.join()).toContain('HT')
    expect(told.join()).not.toContain('at the same moment')
  })
})
