import { expect } from 'vitest'
import type { MeterPlan } from '../../src/plan/index.js'
import type { Rig } from './rig.js'
import { smallPlan } from './small-plan.js'

/**
 * The sequencer beside a judge that is far simpler and knows nothing of how it works: a few facts of the bench, a clock, and
 * what has been done to the run. After each thing done the judge says what must be so.
 */
export interface Judge {
  begun: boolean
  /** An output was on before the run: what somebody else left is put off, and nothing but that is judged. */
  left_on: boolean
  /** Something that must end the run has happened: from here on nothing may rise, for ever. */
  doomed_us: number | null
  /** How long HT may stay on after that, µs: at once, or as long as a reading may be missing or beyond its trip. */
  grace_us: number
  heaters_on_us: number | null
  ht_on_us: number | null
  /** When it last went off. */
  ht_off_us: number
  /** Since when HT has stood at the volts it is set to. */
  ht_V: number
  ht_set_us: number
  /** Since when HT's supply says that it holds the current, not the volts. */
  limiting_us: number | null
  lid_open_us: number | null
  /** The question that stands with HT up, how the person takes it, and what was said of it. */
  person: Person
  open: { readonly id: number; readonly asked_us: number; said: number } | null
  /** Channels that were off when the record was kept no more; null while it is kept. */
  off_without_record: readonly string[] | null
  /** Requests that the judge has already looked at, and those it has listened to for questions. */
  seen: number
  heard: number
}

/** Answers at once, twice over; after 20 s; with a number where a word is wanted, then rightly; with no; or never. */
export const people = ['at once', 'late', 'wrong first', 'no', 'never'] as const
export type Person = (typeof people)[number]

/** The small plan with a question while HT stands at its top, and a lid that may not be opened. */
const question_s = 30
export const plan = smallPlan((small) => {
  const [top, grid] = [small.steps[6], small.meters['grid meter']]
  if (top === undefined || grid === undefined) throw new Error('the small plan has changed')
  const because = 'hands reach HT'
  const wants = { kind: 'confirm' } as const
  const listen = { text: 'Is it quiet?', wants, timeout_s: question_s, inside: false, about: 'listen' }
  const question = { ...top, stage: 'listen', do: 'ask', rail: null, ask: listen } as const
  const steps = [...small.steps.slice(0, 7), question, ...small.steps.slice(7)]
  const lid: MeterPlan = {
    ...{ ...grid, name: 'lid', port: 'lid', measures: 'contact', at: null },
    watch: {
      uses: [],
      needed: true,
      stale_s: 1,
      limits: [{ act: 'trip', when: 'open', at: null, because }],
      falls: null,
    },
  }
  return {
    ...small,
    meters: { ...small.meters, lid },
    steps: steps.map((step, at) => ({ ...step, index: at + 1 })),
  }
})
export const channels = ['lt.1', 'bias.1', 'ht.1']

export const ceiling_A = 0.1
const slew_V_per_s = 20
const warm_us = 30e6

/** Looked at after every tick. */
export function look(judge: Judge, rig: Rig): void {
  reached.add(momentOf(rig))
  const { t_us } = rig
  const on = (channel: string): boolean => rig.on[channel] === true
  if (!judge.begun && !judge.left_on) expect(channels.filter(on)).toEqual([])
  judge.heaters_on_us = on('lt.1') ? (judge.heaters_on_us ?? t_us) : null
  if (judge.ht_on_us !== null && !on('ht.1')) judge.ht_off_us = t_us
  judge.ht_on_us = on('ht.1') ? (judge.ht_on_us ?? t_us) : null
  const ht_V = on('ht.1') ? (rig.set['ht.1'] ?? 0) : 0

  if (ht_V !== judge.ht_V) [judge.ht_V, judge.ht_set_us] = [ht_V, t_us]

  expect(ht_V).toBeLessThanOrEqual(250)
  // What does not obey OFF, or was left on by somebody else, is not in anybody's hands.
  const ours = !judge.left_on && !(judge.doomed_us !== null && rig.ignoresOff.has('ht.1'))
  if (ht_V > 5 && ours) {
    expect(on('bias.1')).toBe(true)
    expect(t_us - (judge.heaters_on_us ?? Infinity)).toBeGreaterThanOrEqual(warm_us)
    expect(ht_V).toBeLessThanOrEqual((slew_V_per_s * (t_us - (judge.ht_on_us ?? t_us))) / 1e6 + 3)
  }
  // Bias goes last: never while HT's own terminals hold more than the touch limit.
  if (!on('bias.1') && judge.begun && !judge.left_on) expect(rig.volts['ht.1'] ?? 0).toBeLessThan(60)

  if (judge.doomed_us !== null) {
    const raised = rig.commands
      .slice(judge.seen)
      .filter(
        (command) =>
          command.kind === 'line' && (command.do === 'on' || (command.do === 'set' && command.volts > 0)),
      )
    if (t_us > judge.doomed_us + judge.grace_us) expect(raised).toEqual([])
    if (t_us > judge.doomed_us + judge.grace_us + 100_000) {
      if (!rig.ignoresOff.has('ht.1')) expect(on('ht.1')).toBe(false)
      // It cannot be made to obey; it must have been told.
      else if (on('ht.1')) expect(toldOff(rig, judge.doomed_us)).toBe(true)
    }
  }
  // A segment is raised only once the record has its intent: without a record no more comes up than what it had already.
  if (judge.off_without_record !== null) {
    const up = judge.off_without_record.filter((channel) => on(channel) && (rig.set[channel] ?? 0) > 5)
    expect(up.length).toBeLessThanOrEqual(1)
  }
  if (ours && on('ht.1') && judge.doomed_us === null) {
    // A supply that says it limits is believed as soon as nothing is being charged.
    if (judge.limiting_us !== null && ht_V > 5)
      expect(t_us - Math.max(judge.limiting_us, judge.ht_set_us)).toBeLessThan(15e6)
    if (judge.lid_open_us !== null && ht_V > 5) expect(t_us - judge.lid_open_us).toBeLessThan(200_000)
  }
  person(judge, rig)
  judge.seen = rig.commands.length
  if (rig.ending?.outputs_off === 'confirmed') expect(channels.filter(on)).toEqual([])
  // Where the plan was over before it could be seen, it was.
  if (rig.ending?.outcome === 'completed' && judge.doomed_us !== null)
    expect(judge.ht_off_us).toBeLessThanOrEqual(judge.doomed_us + judge.grace_us)
}

/** What the person says to the question that stands with HT up, and what must come of it. */
function person(judge: Judge, rig: Rig): void {
  const fresh = rig.commands.slice(judge.heard)
  judge.heard = rig.commands.length
  // While it stands nothing rises.
  const rises = fresh.filter((one) => one.kind === 'line' && one.do === 'set' && one.volts > judge.ht_V)
  if (judge.open !== null && fresh.every(({ kind }) => kind !== 'prompt closed')) expect(rises).toEqual([])
  for (const command of fresh) {
    if (command.kind === 'prompt' && command.ask.about === 'listen' && judge.open?.id !== command.prompt)
      judge.open = { id: command.prompt, asked_us: rig.t_us, said: 0 }
    if (command.kind === 'prompt closed' && command.prompt === judge.open?.id) judge.open = null
  }
  const { open } = judge
  if (open === null || judge.doomed_us !== null) return
  const since_s = (rig.t_us - open.asked_us) / 1e6
  const say = (value: number | 'yes' | 'no'): void => {
    open.said++
    said.add(judge.person)
    rig.feed({ kind: 'answer', prompt: open.id, value, by: 'terminal' })
  }
  if (judge.person === 'at once') {
    say('yes')
    // A finger that slips: the second one answers nothing.
    say('yes')
  } else if (judge.person === 'late' && since_s > 20) say('yes')
  else if (judge.person === 'wrong first' && since_s > 1) {
    say(7)
    expect(rig.ending).toBeNull()
    say('yes')
  } else if (judge.person === 'no' && since_s > 2) {
    say('no')
    doom(judge, rig, run_down_us)
  } else if (judge.person === 'never' && since_s > question_s - 0.08) {
    // The tick that is due next is its end.
    said.add('never')
    doom(judge, rig, run_down_us + 100_000)
  }
}

function toldOff(rig: Rig, since_us: number): boolean {
  return rig.commands.some(
    (command) =>
      command.t_us >= since_us &&
      ((command.kind === 'urgent off' && command.channels.includes('ht.1')) ||
        (command.kind === 'line' && command.do === 'off' && command.channel === 'ht.1')),
  )
}

/** 250 V at the run-down's own pace; then off. */
export const run_down_us = 30e6
/** After these nothing may stay on for longer than the grace. */
export const doom = (judge: Judge, rig: Rig, grace_us: number): void => {
  // What cannot be seen yet dooms nothing: with HT off an HT reading that stops is only waited for.
  if (rig.ending !== null || judge.doomed_us !== null) return
  judge.doomed_us = rig.t_us
  judge.grace_us = grace_us
}

/** Where a run stands, by what its outputs and its plan say. */
export function momentOf({ state, ending, set, on }: Rig): string {
  const step = state.plan.steps[state.step]
  if (ending !== null) return 'ended'
  if (state.phase !== 'running' || step === undefined) return state.phase
  if (step.do !== 'raise') return step.do
  if (step.rail === 'LT') return 'warm-up'
  const top = (set['ht.1'] ?? 0) >= step.target_V
  return step.rail !== 'HT' || on['ht.1'] !== true ? 'before HT' : top ? 'HT settles' : 'HT ramp'
}
/** Where the runs of this process came to, and who answered. */
export const reached = new Set<string>()
export const said = new Set<string>()
