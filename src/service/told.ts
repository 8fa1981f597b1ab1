import type { Shown } from '../controller/index.js'
import type { Ask } from '../plan/index.js'
import { noMeans } from '../session/index.js'
import type { Body, Phase, Prompt, Reply } from './api/index.js'
import type { PreparedStart } from './desk-questions.js'
import type { Who } from './guard.js'

/** What the page is told of a run, made of what the run itself shows. */

export type Started = Omit<Body<'start'>, 'faults' | 'speed' | 'continues'> & {
  readonly continues: boolean
  readonly faults: readonly string[]
  readonly speed: number
}

export function phaseOf(phase: string): Phase | null {
  if (phase === 'running') return 'running'
  return phase === 'making off' ? 'going off' : null
}

export function needsOf(ask: Ask): Prompt['needs'] {
  if (ask.wants.kind === 'reading') return 'answer a reading'
  return ask.about === 'hands clear' ? 'hands clear' : 'answer'
}

export function promptOf({ prompt, ask }: Extract<Shown, { kind: 'prompt' }>, until_ms: number): Prompt {
  return {
    prompt,
    text: ask.text,
    about: ask.about,
    wants: ask.wants,
    needs: needsOf(ask),
    no_means: noMeans(ask),
    inside: ask.inside,
    figure: ask.figure ?? null,
    until_ms: Math.round(until_ms),
    meter: null,
  }
}

export function runOf(
  asked: Started,
  { ready, plan }: PreparedStart,
  who: Who,
): NonNullable<Reply<'live'>['run']> {
  return {
    run: null,
    profile: asked.profile,
    profile_name: plan.profile,
    equipment: plan.equipment,
    bench: plan.bench,
    bench_kind: plan.bench_kind,
    bench_file: ready.bench_path,
    level: plan.level,
    plan_hash: plan.hash,
    speed: asked.speed,
    faults: ready.faults.map(({ text }) => text),
    by: who.called,
    asked_at: new Date().toISOString(),
    rails: Object.values(plan.rails).map(({ name, role, class: by }) => ({ rail: name, role, class: by })),
  }
}
