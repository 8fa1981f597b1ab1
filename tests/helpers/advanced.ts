import type { ChannelPlan, Plan, Step } from '../../src/plan/index.js'
import { draftOf } from '../../src/sequencer/draft.js'
import type { State } from '../../src/sequencer/index.js'
import { advance } from '../../src/sequencer/run.js'
import type { ChannelState, Draft, RailState, StepPart } from '../../src/sequencer/state.js'
import { MidStep } from './mid-step.js'
import { smallPlan } from './small-plan.js'

/* A step of the small plan that goes forward by one moment, and what is told, asked and recorded then. */

export const now_us = new MidStep(smallPlan(), 7, 'hold').state.t_us
export const ago = (seconds: number): number => now_us - seconds * 1e6

export interface Over extends Omit<Partial<State>, 'rails' | 'channels'> {
  readonly rails?: Readonly<Record<string, Partial<RailState>>>
  readonly channels?: Readonly<Record<string, Partial<ChannelState>>>
}
const merged = <T extends object>(all: Readonly<Record<string, T>>, over: Record<string, Partial<T>> = {}) =>
  Object.fromEntries(Object.entries(all).map(([name, one]) => [name, { ...one, ...over[name] }]))

/** What comes of one moment: part of a step in which all stands as it should, but for the changes. */
export function advanced(
  plan: Plan,
  place: number,
  part: StepPart,
  { rails, channels, ...more }: Over = {},
): Draft {
  const { state } = new MidStep(plan, place, part)
  const d = draftOf(
    {
      ...state,
      ...more,
      rails: merged(state.rails, rails),
      channels: merged(state.channels, channels),
    },
    () => undefined,
  )
  advance(d)
  return d
}
/** What was told to supplies: the channel, and the request as it was kept as under way. */
export const told = (d: Draft) =>
  d.out.flatMap((command) => {
    const kept = command.kind === 'line' ? d.s.pending[command.id] : undefined
    return kept ? [{ channel: kept.channel, ...kept.request }] : []
  })
export const intents = (d: Draft) =>
  d.out.flatMap((one) => (one.kind === 'record' && one.entry.what === 'intent' ? [one.entry.text] : []))
export const asked = (d: Draft) => d.out.flatMap((one) => (one.kind === 'prompt' ? [one.ask.about] : []))

/** HT on channels like its own, changed. */
export const onChannels =
  (...parts: readonly Partial<ChannelPlan>[]) =>
  (plan: Plan): Plan => {
    const HT = plan.rails['HT']!
    const channels = parts.map((part) => ({ ...HT.channels[0]!, ...part }))
    return { ...plan, rails: { ...plan.rails, HT: { ...HT, channels } } }
  }
/** One more step, after the hold of all rails and like it, but for this. */
export const withOneMore =
  (more: Partial<Step>) =>
  (plan: Plan): Plan => ({ ...plan, steps: [...plan.steps, { ...plan.steps[7]!, ...more, index: 9 }] })
