import { readdirSync, readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import type { Plan, RuleCode, Step } from '../../src/plan/index.js'
import { ruleCodes } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { limitsAt, smallPlan } from '../helpers/small-plan.js'

/*
 * Each trip rule carries a mark, its code: where it is broken, `broke` is called with it, a question names it (`below-ask`) or an
 * alarm calls (`wont-fall`). Here stands one smallest case for each, and the type holds that none is missing or there twice.
 */

const full = (change?: Parameters<typeof smallPlan>[0]): Rig => new Rig(smallPlan(change)).start().toFullHT()
const raising = (step: number): Rig => {
  const rig = new Rig(smallPlan()).start()
  return rig.until('the ramp', () => rig.state.step === step && rig.state.part === 'ramp')
}
const steps = (change: (step: Step) => Step) => (plan: Plan) => ({ ...plan, steps: plan.steps.map(change) })
const until = (rig: Rig, act: () => void = () => undefined): Rig =>
  rig.until('the end of it', () => {
    act()
    return rig.state.phase !== 'running'
  })

/** The mark a run was left with. */
function markOf(rig: Rig): string {
  if (rig.state.prompt?.ask.about.startsWith('below-ask ') === true) return 'below-ask'
  const alarm = rig.commands.some(
    ({ kind, ...more }) => kind === 'alarm' && JSON.stringify(more).includes('does not fall after OFF'),
  )
  return alarm ? 'wont-fall' : (rig.state.off?.reason?.code ?? 'none')
}

/** A dead-man that does not fire needs a supply that has one, and a part that is given up a reform: they are asserted there. */
const elsewhere = { unproved: 'unattended.test.ts', 'given-up': 'reform-alone.test.ts' } as const
type Here = Exclude<RuleCode, keyof typeof elsewhere>
const here = (code: RuleCode): code is Here => !(code in elsewhere)

const marks: Readonly<Record<Here, () => Rig>> = {
  'over-ceiling': () => {
    const rig = full()
    rig.extra_A['HT'] = 0.2
    return until(rig)
  },
  'over-trip': () => {
    const rig = full()
    rig.extra_A['HT'] = 0.035
    return until(rig)
  },
  rising: () => {
    const rig = full(steps((step) => (step.do === 'hold' ? { ...step, hold_s: 300 } : step)))
    return until(rig, () => {
      rig.extra_A['HT'] = Math.min(0.025, (rig.extra_A['HT'] ?? 0) + 0.00003)
    })
  },
  'current-limit': () => {
    const rig = full()
    rig.feed({ kind: 'regulation', channel: 'ht.1', mode: 'current' })
    return until(rig)
  },
  'off-set-point': () => {
    const rig = full()
    rig.sag_V['HT'] = -20
    return until(rig)
  },
  'slow-rise': () => {
    const rig = new Rig(
      smallPlan(
        steps((step) => (step.rail === 'HT' && step.do === 'raise' ? { ...step, slew_V_per_s: 5 } : step)),
      ),
    ).start()
    rig.until('the ramp', () => rig.state.step === 6 && rig.state.part === 'ramp')
    return until(rig, () => {
      rig.sag_V['HT'] = 100 - (rig.set['ht.1'] ?? 0)
    })
  },
  'error-integral': () => {
    const rig = full()
    rig.sag_V['HT'] = -4
    return until(rig)
  },
  protection: () => {
    const rig = full()
    rig.feed({ kind: 'protection', channel: 'ht.1', which: 'over-current' })
    return rig
  },
  stale: () => {
    const rig = full()
    rig.silent.add('HT')
    return until(rig)
  },
  'bad-reply': () => {
    const rig = raising(6)
    let id: string | undefined
    rig.overhears = (_command, { pending }) => {
      id ??= Object.keys(pending)[0]
    }
    rig.until('a request', () => id !== undefined)
    rig.feed({ kind: 'failed', id: Number(id), code: 'bad reply', text: 'noise', outcome: 'unknown' })
    return rig
  },
  'read-back': () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('the first step', () => rig.state.part === 'hook-up ohms')
    rig.feed({ kind: 'output', channel: 'ht.1', on: true })
    return rig
  },
  'line-lost': () => {
    const rig = full()
    rig.feed({ kind: 'line lost', port: 'ht', text: 'closed' })
    return rig
  },
  'heater-lost': () => {
    const rig = full()
    rig.ohm['LT'] = 30
    return until(rig)
  },
  'bias-low': () => {
    const rig = full()
    rig.grid = -0.2
    return until(rig)
  },
  'drive-lost': () => {
    const bias = { rail: 'BIAS', with_A: 0.006, lost_A: 0.01 }
    const drive = [{ tube: 'V1', grid_A: 0.004, meter: null, bias, text: '' }]
    const own = { ...limitsAt(40, 0.01), expected_A: 0.006, lower_A: 0, ask_A: 0 }
    const rig = new Rig(
      smallPlan((plan) => ({
        ...plan,
        steps: plan.steps.map((step, at) => ({
          ...step,
          ...(at >= 5 && { drive, limits: { ...step.limits, BIAS: own } }),
          ...(at === 6 && { needs_drive: ['V1'] }),
        })),
      })),
    ).start()
    rig.until('HT rises', () => rig.state.step === 5 && rig.state.part === 'ramp')
    rig.ohm['BIAS'] = 1e9
    return until(rig)
  },
  'plate-lost': () => {
    const rig = new Rig(
      smallPlan((plan) => {
        const [HT, last, hold] = [plan.rails['HT'], plan.steps[6], plan.steps[7]]
        if (HT === undefined || last === undefined || hold === undefined) throw new Error('no small plan')
        const channels = HT.channels.map((part) => ({ ...part, channel: 'screen.1', port: 'screen' }))
        const limits = { ...last.limits, SCREEN: limitsAt(100, 0.02) }
        const raise = {
          ...last,
          stage: 'screen',
          rail: 'SCREEN',
          target_V: 100,
          needs_plate: 'HT',
          index: 8,
          limits,
        }
        return {
          ...plan,
          rails: { ...plan.rails, SCREEN: { ...HT, name: 'SCREEN', role: 'screen' as const, channels } },
          steps: [...plan.steps.slice(0, 7), raise, { ...hold, index: 9, limits }],
        }
      }),
    ).start()
    rig.ohm['SCREEN'] = 5000
    rig.until('the hold', () => rig.state.step === 8 && rig.state.part === 'hold')
    rig.ohm['HT'] = 1e9
    return until(rig)
  },
  'recorder-lost': () => {
    const rig = full()
    rig.feed({ kind: 'recorder lost', text: 'no word for 10 s' })
    return rig
  },
  'time-budget': () => until(new Rig(smallPlan((plan) => ({ ...plan, time_budget_s: 60 }))).start()),
  'watched-input': () => {
    const rig = new Rig(
      smallPlan((plan) => {
        const like = plan.meters['grid meter']
        if (like === undefined) throw new Error('no small plan')
        const limits = [
          { act: 'trip' as const, when: 'above' as const, at: 260, because: 'invented for this test' },
        ]
        const watch = { uses: ['trips: invented'], needed: true, stale_s: 1, limits, falls: null }
        return {
          ...plan,
          meters: {
            ...plan.meters,
            M2: { ...like, name: 'M2', port: 'M2', measures: 'V', at: 'HT+', watch },
          },
        }
      }),
    )
    rig.meters['M2'] = 10
    rig.start().toFullHT()
    rig.meters['M2'] = 261
    rig.tick()
    return rig
  },
  slept: () => {
    const rig = full()
    rig.tick(0, 2_000_000)
    return rig
  },
  'late-tick': () => {
    const rig = full()
    rig.tick(600_000, 0)
    return rig
  },
  'parent-lost': () => {
    const rig = full()
    rig.feed({ kind: 'parent lost', text: 'no beat' })
    return rig
  },
  'hook-up': () => {
    const rig = new Rig(smallPlan())
    rig.ohm['HT'] = 50
    return until(rig.start())
  },
  'prompt-timeout': () => {
    const rig = new Rig(smallPlan((plan) => ({ ...plan, prompt_timeout_s: 30 })))
    rig.answers = false
    return until(rig.start())
  },
  operator: () => {
    const rig = full()
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    return rig
  },
  'below-ask': () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('the first step of HT', () => rig.state.step === 5)
    rig.ohm['HT'] = 16_000
    rig.unanswered = /^below-ask /
    return rig.until('the question', () => rig.state.prompt?.purpose.kind === 'weak')
  },
  'wont-fall': () => {
    const rig = full()
    rig.ignoresOff.add('ht.1')
    rig.feed({ kind: 'stop', how: 'off now', by: 'a test' })
    return rig.until('the alarm', () => rig.commands.some(({ kind }) => kind === 'alarm'), 30)
  },
  invariant: () => {
    const rig = full()
    rig.t_us -= 10_000_000
    rig.feed({ kind: 'tick', late_us: 0, slept_us: 0 })
    return rig
  },
  'soft-start': () => {
    const rig = raising(3)
    rig.feed({ kind: 'regulation', channel: 'lt.1', mode: 'current' })
    return until(rig, () => {
      rig.sag_V['LT'] = -0.5 * (rig.set['lt.1'] ?? 0)
    })
  },
  'key-time': () => {
    const limit = { name: 'key', rail: 'HT', above_V: 60, s: 10, text: 'A test', source: 'a test' }
    return until(full(steps((step) => (step.do === 'hold' ? { ...step, time_limits: [limit] } : step))))
  },
}

describe('the mark of each trip rule', () => {
  it.each(ruleCodes.filter(here))('%s', (code) => {
    expect(markOf(marks[code]())).toBe(code)
  })

  it.each(Object.entries(elsewhere))('%s, asserted in %s', (code, file) => {
    const text = readFileSync(join(import.meta.dirname, file), 'utf8')
    expect(text.split(`ending.reason).toMatchObject({ code: '${code}'`)).toHaveLength(2)
  })

  it('is made somewhere in the program: no rule stands in the list alone', () => {
    const folder = join(import.meta.dirname, '../../src/sequencer')
    const made = readdirSync(folder)
      .filter((name) => name.endsWith('.ts') && name !== 'breach.ts')
      .map((name) => readFileSync(join(folder, name), 'utf8'))
      .join('\n')
    expect(ruleCodes.filter((code) => !new RegExp(`['\`]${code}['\` ]`).test(made))).toEqual([])
    expect(Object.keys(marks).toSorted()).toEqual(ruleCodes.filter(here).toSorted())
  })
})
