import type { Plan, ReformJudgement, ReformPart } from '../plan/index.js'
import { judgementOf, type RunEvent } from '../story/index.js'

/** One lifted electrolytic over a run: what it came to, what it was held against, and its leakage by the hour. */
export interface FormedStory {
  readonly part: string
  readonly parts: readonly string[]
  readonly joined: ReformPart['joined']
  /** `not finished`: the run ended before anything could be said, or its time ran out. */
  readonly verdict: NonNullable<ReformJudgement['verdict']>
  /** The stop rule that ended it, where one did. */
  readonly code: string | null
  readonly why: string
  readonly marked_F: number
  readonly rated_V: number
  readonly F: number | null
  readonly F_error: number | null
  /** Volts across it and its leakage when it was last judged; in a verdict, what that speaks of. */
  readonly volts: number | null
  readonly leak_A: number | null
  readonly limit_A: number
  readonly limit: string
  readonly limit_source: string
  readonly resolves_A: number
  /** Last volts on its feed resistor that were held to their end: where a run that was interrupted may go on. */
  readonly formed_V: number
  readonly curve: readonly CurvePoint[]
}
export interface CurvePoint {
  readonly t_s: number
  readonly set_V: number
  readonly volts: number
  readonly leak_A: number
}

export function formedOf(
  plan: Plan,
  events: readonly Pick<RunEvent, 't_us' | 'what' | 'data'>[],
): FormedStory[] {
  const told = events.flatMap(({ t_us, what, data }) => {
    const judgement = what === 'judgement' ? judgementOf(data['reform']) : null
    return judgement === null ? [] : [{ t_s: t_us / 1e6, judgement }]
  })
  return (plan.reform?.parts ?? []).map((part) => {
    const mine = told.filter(({ judgement }) => judgement.part === part.name)
    const last = mine.at(-1)?.judgement ?? null
    const target = (step: number): number => plan.steps.find(({ index }) => index === step)?.target_V ?? 0
    const held = mine
      .filter(({ judgement: { act } }) => act === 'go on')
      .map(({ judgement }) => target(judgement.step))
    const measured = mine.findLast(({ judgement }) => judgement.figures.F !== null)?.judgement.figures
    return {
      part: part.name,
      parts: part.parts,
      joined: part.joined,
      verdict: last?.verdict ?? 'not finished',
      code: last?.code ?? null,
      why: last === null ? 'nothing was measured of it' : last.text,
      marked_F: part.F,
      rated_V: part.rated_V,
      F: measured?.F ?? null,
      F_error: measured?.F_error ?? null,
      volts: last?.figures.volts ?? null,
      leak_A: last?.figures.leak_A ?? null,
      limit_A: part.limit.amps,
      limit: part.limit.text,
      limit_source: part.limit.source,
      resolves_A: last?.figures.resolves_A ?? part.resolves_A,
      formed_V: Math.max(part.formed_V, 0, ...held),
      curve: mine.flatMap(({ t_s, judgement: { step, figures } }) =>
        figures.leak_A === null
          ? []
          : [{ t_s, set_V: target(step), volts: figures.volts, leak_A: figures.leak_A }],
      ),
    }
  })
}
