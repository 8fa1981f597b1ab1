import { describe, expect, it } from 'vitest'
import type { InputLimit, MeterPlan, Plan, Proof, RailPlan } from '../../src/plan/index.js'
import { inputObjection, inputValue, inputWaited, isBeyond } from '../../src/sequencer/input-state.js'
import { MidStep, shown, tick, volts } from '../helpers/mid-step.js'
import { smallPlan } from '../helpers/small-plan.js'

/* Meters, thermometers and contacts on a line: what they hold up, what their silence means, and how that is said. */

const [heaters, bias40, at250, holds] = [3, 4, 6, 7]
const trip = (change: Partial<InputLimit>): InputLimit => ({
  ...{ act: 'trip', when: 'above', at: 70, because: 'invented for this test.' },
  ...change,
})
const lidOpen = trip({ when: 'open', at: null })

interface Wanted extends Partial<MeterPlan> {
  readonly limits?: readonly InputLimit[]
  readonly needed?: boolean
  readonly uses?: readonly string[]
}
const withMeters =
  (wanted: Readonly<Record<string, Wanted>>) =>
  (plan: Plan): Plan => {
    const like = plan.meters['grid meter']!
    const made = Object.entries(wanted).map(([name, { limits = [], needed, uses, ...more }]) => {
      const watch = {
        uses: uses ?? limits.map(({ because }) => `trips: ${because}`),
        needed: needed ?? limits.length > 0,
        stale_s: 1,
        limits,
        falls: null,
      }
      return [name, { ...like, name, port: name, at: null, watch, ...more }] as const
    })
    return { ...plan, meters: { ...plan.meters, ...Object.fromEntries(made) } }
  }
const lid: Wanted = { measures: 'contact', limits: [lidOpen] }
const warm: Wanted = { measures: '°C', limits: [trip({})] }
const informs: Wanted = { at: 'HT+', uses: ['the charge left at HT+ after OFF'] }
const planWith = (meters: Readonly<Record<string, Wanted>>): Plan => smallPlan(withMeters(meters))
/** HT rises from 100 V to 250 V and waits at its gate. */
const atGate = (meters: Readonly<Record<string, Wanted>>): MidStep => {
  return new MidStep(planWith(meters), at250, 'gate').justBegun()
}
const standing = (meters: Readonly<Record<string, Wanted>>): MidStep =>
  new MidStep(planWith(meters), holds, 'hold')

describe('what a watched input holds up', () => {
  const waits = (run: MidStep): string | null => inputWaited(run.state, run.step)

  it('is said by its name and what it shows, or that it has yet to be read', () => {
    const run = atGate({ lid })
    expect(inputObjection(run.state, run.step)).toMatchObject({ meter: { name: 'lid' }, limit: null })
    expect(waits(run)).toBe('lid to be read')
    expect(waits(run.hear(0, shown('lid', 0)))).toBe('lid (open)')
    expect(waits(run.hear(0.1, shown('lid', 1)))).toBeNull()
    const hot = atGate({ case: warm }).hear(0, shown('case', 90))
    expect(waits(hot)).toBe('case (90 °C)')
  })

  it('is what was read within its own time, to the last moment of it', () => {
    const run = atGate({ lid }).hear(0, shown('lid', 1))
    const after = (s: number): string | null =>
      inputWaited({ ...run.state, t_us: run.state.t_us + s * 1e6 }, run.step)
    expect([after(1), after(1.001)]).toEqual([null, 'lid to be read'])
  })

  it('is a rise above the touch limit where it is a contact: at 60 V a lid may be open', () => {
    const at = (target_V: number): string | null => {
      const run = atGate({ lid }).hear(0, shown('lid', 0))
      return inputWaited(run.state, { ...run.step, target_V })
    }
    expect([at(60), at(61)]).toEqual([null, 'lid (open)'])
  })

  it('is asked of each contact as it is wired: open where it must be closed, closed where it must be open', () => {
    const closed = trip({ when: 'closed', at: null })
    expect([isBeyond(closed, 1), isBeyond(closed, 0)]).toEqual([true, false])
    expect([isBeyond(lidOpen, 1), isBeyond(lidOpen, 0)]).toEqual([false, true])
    expect([inputValue('contact', 1), inputValue('contact', 0)]).toEqual(['closed', 'open'])
    // A contact that must be open, on one that is: nothing is held up.
    const run = atGate({ lid: { measures: 'contact', limits: [closed] } })
    expect(waits(run.hear(0, shown('lid', 0)))).toBeNull()
    expect(waits(run.hear(0, shown('lid', 1)))).toBe('lid (closed)')
  })

  it('ends the run when nobody sees to it in time, with what it reads, where, and the figure it must not pass', () => {
    // Nothing is up yet that too much heat would trip.
    const run = new MidStep(planWith({ case: { ...warm, at: 'the transformer' } }), heaters, 'gate')
    run.justBegun().rail('LT', { energised: false, set_V: 0 })
    run.again(700, 1, shown('case', 90))
    expect(run.reason).toMatchObject({ code: 'prompt-timeout', limit: 600, unit: 's' })
    expect(run.reason?.measured).toBeCloseTo(601, 1)
    expect(run.reason?.text).toMatch(
      /^Waited 601 s\. case reads 90 °C at the transformer, above 70 °C: invented for this test\.$/,
    )
  })
})

describe('a watched input beyond its limit', () => {
  it('is told with its reading, its place and its limit', () => {
    const run = standing({ M: { at: 'HT+', limits: [trip({ at: 260 })] } }).hear(0.1, shown('M', 261))
    expect(run.reason?.text).toContain('M reads 261 V at HT+, above 260 V: invented for this test.')
  })

  it('is told by what it is where it is a contact', () => {
    const run = standing({ lid }).hear(0.1, shown('lid', 1), shown('lid', 0))
    expect(run.reason?.text).toContain('lid is open, and must not be: invented for this test.')
    expect(run.reason).toMatchObject({ code: 'watched-input', limit: null, unit: '' })
  })
})

describe('an input that the plan counts on and that goes quiet', () => {
  const quiet = (meters: Readonly<Record<string, Wanted>>, change = (plan: Plan): Plan => plan): MidStep => {
    const run = new MidStep(
      smallPlan((plan) => change(withMeters(meters)(plan))),
      holds,
      'hold',
    )
    run.hear(0, shown('case', 30))
    // Everything else is heard.
    return run.again(40, 0.05, ...others, tick)
  }
  const others = [
    ...(['lt.1', 'bias.1', 'ht.1'] as const).map((channel, at) => volts(channel, [12, 40, 250][at]!)),
    ...(['lt.1', 'bias.1', 'ht.1'] as const).map((channel, at) => ({
      ...volts(channel, [4, 0.01, 0.05][at]!),
      quantity: 'A' as const,
    })),
    shown('grid meter', -40),
  ]

  it('makes safe within its own time', () => {
    expect(quiet({ case: warm }).reason).toMatchObject({ code: 'stale', limit: 1, unit: 's' })
  })

  it('is waited for while nothing is up', () => {
    const run = new MidStep(planWith({ case: warm }), heaters, 'gate').rail('LT', {
      energised: false,
      set_V: 0,
    })
    run.hear(0, shown('case', 30)).again(100, 0.05, tick)
    expect(run.reason).toBeNull()
  })

  it('makes safe on a bench with a rail on a knob too, whose own meters have rules of their own', () => {
    const knob = (plan: Plan): Plan => {
      const LT: RailPlan = { ...plan.rails['LT']!, class: 'watched', channels: [], volts_meter: 'LT V' }
      return withMeters({ 'LT V': { needed: true } })({ ...plan, rails: { ...plan.rails, LT } })
    }
    const meters = { case: warm }
    const run = new MidStep(
      smallPlan((plan) => withMeters(meters)(knob(plan))),
      holds,
      'hold',
    )
    run.hear(0, shown('case', 30))
    run.again(40, 0.05, shown('LT V', 12), ...others, tick)
    expect(run.reason).toMatchObject({ code: 'stale' })
    expect(run.reason?.text).toContain('The newest reading of case')
  })

  it('is told by what was wrong on its line since it was last read, not by what was wrong before', () => {
    const noise = {
      kind: 'line trouble',
      port: 'case',
      fault: 'line_noise',
      text: 'noise on its line',
    } as const
    const before = standing({ case: warm })
      .hear(0, noise)
      .hear(5, shown('case', 30), ...others)
    before.again(40, 0.05, ...others, tick)
    expect(before.reason).toMatchObject({ code: 'stale' })
    expect(before.reason?.text).not.toContain('noise')
    const since = standing({ case: warm }).hear(0, shown('case', 30)).hear(0.2, noise)
    since.again(40, 0.05, ...others, tick)
    expect(since.reason).toMatchObject({ code: 'bad-reply' })
    expect(since.reason?.text).toContain('noise on its line.')
  })

  it('has lost nothing while its supply’s line is left alone for the proof of a dead-man, on a stacked rail too', () => {
    const proof: Proof = {
      ...{ of: 'dead-man', channel: 'ht.1', limit_A: null, level: null, within_s: 60, because: 'a test' },
    }
    const alone = (port: string): MidStep => {
      const plan = smallPlan((made) => {
        const HT = made.rails['HT']!
        const [one] = HT.channels
        const half = { ...one!, share: 0.5 }
        const stacked = { ...HT, channels: [half, { ...half, channel: 'top.1', port: 'top' }] }
        const last = made.steps[holds]!
        const prove = { ...last, do: 'prove' as const, rail: 'HT', proof, target_V: 5 }
        return withMeters({ case: { ...warm, port } })({
          ...made,
          rails: { ...made.rails, HT: stacked },
          steps: [...made.steps.slice(0, holds), prove],
        })
      })
      const told = {
        ...{ told_us: 1200e6, from_V: 250, said_before: 'voltage', said_during: 'voltage', seen_us: null },
        ...{ fired: null, off: false, refused: null, result: null, zeroed: false, others: {} },
      }
      const intent = { id: 1, recorded: true }
      const run = new MidStep(plan, holds, 'prove watch', { proof: told, intent })
      run.hear(0, shown('case', 30))
      return run.again(
        40,
        0.05,
        ...others.filter((each) => !('channel' in each && each.channel === 'ht.1')),
        tick,
      )
    }
    for (const port of ['ht', 'top'])
      expect(alone(port).state.warnings.join() + (alone(port).reason?.text ?? '')).not.toContain('case')
    expect(alone('case').reason?.text).toContain('The newest reading of case')
  })
})

describe('an input that only informs', () => {
  const lost = (run: MidStep, name = 'M'): boolean | undefined => run.state.inputs[name]?.lost

  it('and goes quiet is lost, once, with what is missing for it, and found again when it answers', () => {
    const uses = ['the charge left at HT+ after OFF', 'shown and recorded, judged by nothing']
    const run = standing({ M: { ...informs, uses } })
      .hear(0, shown('M', 250))
      .hear(0.5, tick)
    expect(lost(run)).toBe(false)
    run.hear(0.6, tick)
    expect(lost(run)).toBe(true)
    expect(run.state.warnings).toContain(
      'M no longer answers: its reading is lost. The run goes on without it; missing is: the charge left at HT+ after OFF.',
    )
    run.hear(0.1, shown('M', 250))
    expect(lost(run)).toBe(false)
  })

  it('and for which nothing is missing is said to be lost in so many words', () => {
    const run = standing({ M: { ...informs, uses: ['shown and recorded, judged by nothing'] } })
    run.hear(0, { kind: 'line lost', port: 'M', text: 'port M: nobody answers' })
    expect(run.state.warnings).toEqual([
      'M no longer answers: its reading is lost. The run goes on without it.',
    ])
  })

  it('is lost with its port where nothing else is on that, and the run goes on', () => {
    const run = standing({ M: informs, N: { ...informs, port: 'M' } })
    run.hear(0, { kind: 'line lost', port: 'M', text: 'port M: nobody answers' })
    expect(run.reason).toBeNull()
    expect([lost(run), lost(run, 'N')]).toEqual([true, true])
  })

  it('does not make harmless the loss of a port that a supply, or an input that is needed, shares with it', () => {
    const gone = (port: string, meters: Readonly<Record<string, Wanted>>): string | undefined =>
      standing(meters).hear(0, { kind: 'line lost', port, text: 'nobody answers' }).reason?.code
    expect(gone('ht', { M: { ...informs, port: 'ht' } })).toBe('line-lost')
    expect(gone('M', { M: informs, lid: { ...lid, port: 'M' } })).toBe('line-lost')
    expect(gone('nowhere', { M: informs })).toBe('line-lost')
  })

  it('does not make harmless the loss of a meter that a rail on a knob is read by', () => {
    const plan = (which: 'volts_meter' | 'amps_meter'): Plan =>
      smallPlan((made) => {
        const LT: RailPlan = { ...made.rails['LT']!, class: 'watched', channels: [], [which]: 'M' }
        return withMeters({ M: { ...informs, needed: false } })({ ...made, rails: { ...made.rails, LT } })
      })
    for (const which of ['volts_meter', 'amps_meter'] as const) {
      const run = new MidStep(plan(which), holds, 'hold')
      run.hear(0, { kind: 'line lost', port: 'M', text: 'nobody answers' })
      expect(run.reason).toMatchObject({ code: 'line-lost' })
    }
  })
})

describe('an input whose limit has nothing to guard', () => {
  it('trips nothing: a lid may be open while all that stands may be touched', () => {
    const run = new MidStep(planWith({ lid }), bias40, 'hold').hear(0, shown('lid', 0))
    expect(run.reason).toBeNull()
  })
})
