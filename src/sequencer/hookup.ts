import { formatShort } from '../quantities/index.js'
import type { HookupTest, RailPlan, Step } from '../plan/index.js'
import { broke } from './breach.js'
import { ask, readingOf } from './prompts.js'
import { record, send } from './send.js'
import type { Draft, RailState } from './state.js'
import { accuracy, channelOf, off_V, paced_s, resolution, us } from './state.js'
import { amps, volts } from './words.js'

/**
 * The hook-up check: each programmed channel proves its wiring below 5 V before anything goes higher. Volts over amps must
 * lie in the window of what is really there; polarity is read with its sign by a meter, never guessed from current; then
 * OFF, and the fall watched, so that a supply that ignores OFF is found here.
 */

const judgeWithin_s = 15
const meterWithin_s = 5
const fallWithin_s = 10
const standsAfter_s = 1

export function advanceHookup(
  d: Draft,
  step: Step,
  enter: (part: Draft['s']['part']) => void,
  done: () => void,
): void {
  const test = step.hookup
  const found = test ? channelOf(d.s, test.channel) : null
  if (!test || (test.method === 'low volts' && !found)) {
    broke(d, { code: 'invariant', text: `Step ${step.index} is a hook-up check without its test.` })
    return
  }
  if (test.method === 'ohmmeter') {
    if (d.s.part === 'gate') {
      ask(
        d,
        { kind: 'step' },
        readingOf(
          test.asked ??
            `With the supply off, read the resistance at the lead ends of ${test.rail}, with the lead that is positive on ohms (on many needle meters the black one) on the positive lead, and type it in ohms; OL where it reads open.`,
          `hook-up ${test.rail}`,
          'Ω',
          test.ohm_low,
          test.ohm_high,
          { rail: test.rail },
        ),
      )
      enter('asking')
    }
    return
  }
  if (!found) return
  const { rail, plan, state } = found
  const idle = !Object.values(d.s.pending).some((pending) => pending.channel === test.channel)
  const waited_s = (d.s.t_us - d.s.part_us) / 1e6
  const railState = d.s.rails[rail.name]
  switch (d.s.part) {
    case 'hook-up least':
      // Before the limits: many supplies refuse an over-voltage level below a set-point left from another run.
      if (state.set_V === plan.min_V) enter('hook-up limits')
      else if (idle) send(d, test.channel, { do: 'set', volts: plan.min_V })
      break
    case 'hook-up limits':
      if (state.limits_step === step.index) enter('hook-up set')
      else if (idle)
        send(d, test.channel, {
          do: 'limits',
          limit_A: test.limit_A,
          over_voltage_V: plan.over_voltage
            ? Math.min(plan.max_V, test.test_V + Math.max(plan.over_voltage_margin_V, 0.1 * test.test_V))
            : null,
        })
      break
    case 'hook-up set':
      if (state.set_V === test.test_V) enter('hook-up on')
      else if (idle) send(d, test.channel, { do: 'set', volts: test.test_V })
      break
    case 'hook-up on':
      if (state.output === 'on') enter('hook-up polarity')
      else if (idle) send(d, test.channel, { do: 'on' })
      break
    case 'hook-up polarity':
      polarity(d, test, waited_s, enter)
      break
    case 'hook-up ohms': {
      const verdict = ohms(d, test)
      if (verdict === 'good') {
        record(
          d,
          'hook-up',
          `${rail.name} (${test.channel}): ${describe(d, test)}; as expected. ${test.because}`,
          {
            rail: rail.name,
            data: {
              volts: railState?.V?.value,
              amps: railState?.A?.value,
              ohm_low: test.ohm_low,
              ohm_high: test.ohm_high,
            },
          },
        )
        enter('hook-up off')
      } else if (waited_s > paced_s(d.s, judgeWithin_s)) {
        const measured = (railState?.V?.value ?? 0) / Math.max(railState?.A?.value ?? 0, plan.resolution_A)
        broke(d, {
          code: 'hook-up',
          rail: rail.name,
          measured,
          limit: measured < test.ohm_low ? test.ohm_low : test.ohm_high,
          unit: 'Ω',
          text: `${rail.name} (${test.channel}): ${describe(d, test)}, but the set as described should show ${formatShort(test.ohm_low, 'Ω')} to ${formatShort(test.ohm_high, 'Ω')}. A lead on the wrong point, fallen off, a short, or a part not as in the file. Outputs off; measure before touching.`,
        })
      }
      break
    }
    case 'hook-up off':
      if (state.output === 'off') enter('hook-up fall')
      else if (idle) send(d, test.channel, { do: 'off' })
      break
    case 'hook-up fall': {
      const sample = state.V
      if (sample && sample.t_us > d.s.part_us && Math.abs(sample.value) < 0.6 * test.test_V) {
        if (railState) {
          railState.energised = false
          railState.set_V = 0
        }
        state.set_V = null
        d.s.hookup_done = [...d.s.hookup_done, test.channel]
        done()
      } else if (waited_s > fallWithin_s) {
        broke(d, {
          code: 'hook-up',
          rail: rail.name,
          measured: sample?.value ?? test.test_V,
          limit: 0.6 * test.test_V,
          unit: 'V',
          text: `${rail.name} (${test.channel}) did not fall after OFF: ${volts(sample?.value ?? test.test_V)} ${Math.round(waited_s)} s later. A supply that does not obey OFF, or no discharge path at its terminals.`,
        })
      }
      break
    }
    default:
      enter('hook-up least')
  }
}

function polarity(
  d: Draft,
  test: HookupTest,
  waited_s: number,
  enter: (part: Draft['s']['part']) => void,
): void {
  if (test.polarity === null) {
    enter('hook-up ohms')
    return
  }
  const { node, sign, low_V, high_V, meter } = test.polarity
  if (meter === null) {
    // A needle is read once the volts stand, not while the output comes up.
    if (d.s.prompt || waited_s < standsAfter_s) return
    const typed = d.s.typed[`polarity:${test.channel}`]
    if (typed && typed.t_us >= d.s.part_us) {
      enter('hook-up ohms')
      return
    }
    // Nobody is sent to the set before the supply itself has said what stands there.
    const now = d.s.rails[test.rail]?.V
    if (!now || now.t_us <= d.s.part_us) return
    ask(
      d,
      { kind: 'polarity' },
      readingOf(
        `${test.rail} measures ${volts(now.value)} at its supply, set to ${volts(test.test_V)}. Read the volts at ${placeOf(d, test)} against ${test.rail === d.s.plan.reform?.rail ? 'its negative end' : 'chassis'}, red lead there, and type them with their sign.`,
        `polarity ${test.rail}`,
        'V',
        low_V,
        high_V,
        { node },
      ),
    )
    return
  }
  const sample = d.s.meters[meter]
  if (sample && sample.t_us > d.s.part_us + us(0.5)) {
    if (sample.value >= low_V && sample.value <= high_V) {
      record(
        d,
        'hook-up',
        `${test.rail}: ${volts(sample.value)} at ${node} by ${meter}: polarity ${sign > 0 ? 'positive' : 'negative'}, as it should be.`,
        {
          rail: test.rail,
          data: { node, volts: sample.value, meter },
        },
      )
      enter('hook-up ohms')
      return
    }
  }
  if (waited_s > paced_s(d.s, meterWithin_s)) polarityWrong(d, test, sample?.value ?? null)
}

/** The point in the words of the set's own file, as the hook-up sheet has it. */
function placeOf(d: Draft, { rail, polarity }: HookupTest): string {
  const line = d.s.plan.hookup.find((each) => each.rail === rail)
  if (polarity === null) return rail
  const words = polarity.sign < 0 ? line?.negative : line?.positive
  return words?.includes(polarity.node) === true ? words : polarity.node
}

export function polarityWrong(d: Draft, test: HookupTest, measured: number | null): void {
  if (test.polarity === null) return
  const { node, sign, low_V, high_V } = test.polarity
  const reversed = measured !== null && Math.sign(measured) === -sign && Math.abs(measured) > 0.2
  broke(d, {
    code: 'hook-up',
    rail: test.rail,
    ...(measured === null ? {} : { measured }),
    limit: sign > 0 ? low_V : high_V,
    unit: 'V',
    text: `${test.rail}: the meter at ${node} reads ${measured === null ? 'nothing' : volts(measured)}, it should read ${volts(low_V)} to ${volts(high_V)}. ${
      reversed ? 'The leads are reversed.' : 'The leads are on another point, swapped or off.'
    } Outputs off; measure before touching.`,
  })
}

/** Volts or amps that the test itself cannot make: one valid sample ends it, before anybody reads a polarity there. */
export function judgeHookup(d: Draft, step: Step, rail: RailPlan, state: RailState, by: 'V' | 'A'): void {
  const test = step.hookup
  if (test?.method !== 'low volts' || test.rail !== rail.name) return
  const error = accuracy(d.s, rail, test.test_V, test.limit_A)
  const measured = state[by]?.value ?? 0
  const limit =
    by === 'V'
      ? Math.max(off_V, test.test_V + error.V)
      : test.limit_A * 1.02 + error.A + resolution(d.s, rail).A
  if (Math.abs(measured) <= limit) return
  const told = by === 'V' ? volts(measured) : amps(measured)
  broke(d, {
    code: 'hook-up',
    rail: rail.name,
    measured,
    limit,
    unit: by,
    text: `${rail.name} (${test.channel}) measures ${told} in its hook-up check, which sets ${volts(test.test_V)} and allows ${amps(test.limit_A)}: the supply does not hold what it was told, or something else feeds its leads. Outputs off; measure before touching.`,
  })
}

/** A supply that shows no current at all must at least show its volts. */
const stands = 0.8

/** Three fresh readings in a row inside the window. */
function ohms(d: Draft, test: HookupTest): 'good' | 'wait' {
  const found = channelOf(d.s, test.channel)
  const V = found?.state.V
  const A = found?.state.A
  const rail = found ? d.s.rails[found.rail.name] : undefined
  if (!found || !V || !A || !rail || V.t_us <= d.s.part_us || A.t_us <= d.s.part_us) return 'wait'
  const least_A = 5 * resolution(d.s, found.rail).A
  const seen = rail.in_window
  const ratio = V.value / A.value
  const inWindow =
    test.coarse === true
      ? V.value >= stands * test.test_V && V.value >= A.value * test.ohm_low
      : A.value >= least_A && ratio >= test.ohm_low && ratio <= test.ohm_high
  const limited = A.value >= test.limit_A * 0.98
  const good = inWindow && (test.may_limit || !limited)
  if (!good) {
    rail.in_window = null
    return 'wait'
  }
  if (seen && seen.at_us === A.t_us) return 'wait'
  rail.in_window = { count: (seen?.count ?? 0) + 1, at_us: A.t_us }
  return (seen?.count ?? 0) + 1 >= 3 ? 'good' : 'wait'
}

function describe(d: Draft, test: HookupTest): string {
  const rail = d.s.rails[test.rail]
  const V = rail?.V?.value ?? 0
  const A = rail?.A?.value ?? 0
  return `${volts(V)} and ${amps(A)} at ${volts(test.test_V)} set (${A > 0 ? formatShort(V / A, 'Ω') : 'no current'})`
}
