import { type Ask, lowFilament_s } from '../plan/index.js'
import { broke } from './breach.js'
import { record } from './send.js'
import type { Draft, Prompt } from './state.js'
import { currentStep, us } from './state.js'

/** Opens a question. While one is open no set-point rises; unanswered it runs out and the run stops. */
export function ask(d: Draft, purpose: Prompt['purpose'], wanted: Ask): void {
  const id = d.s.next_prompt++
  // A question must not keep filaments below their volts for as long as people may otherwise think.
  const most_s = currentStep(d.s)?.filaments_low === true ? lowFilament_s : Infinity
  const timeout_s = Math.min(most_s, wanted.timeout_s > 0 ? wanted.timeout_s : d.s.plan.prompt_timeout_s)
  const reading = wanted.wants.kind === 'reading' ? wanted.wants : null
  d.s.prompt = {
    id,
    purpose,
    ask: wanted,
    low: reading ? reading.low : null,
    high: reading ? reading.high : null,
    unit: reading ? reading.unit : '',
    text: wanted.text,
    opened_us: d.s.t_us,
    until_us: d.s.t_us + us(timeout_s),
    tries: 0,
  }
  d.out.push({ kind: 'prompt', prompt: id, ask: wanted, until_us: d.s.prompt.until_us })
  record(d, 'prompt', wanted.text, { data: { prompt: id, purpose: purpose.kind } })
}

export function closePrompt(d: Draft, why: string): void {
  if (!d.s.prompt) return
  d.out.push({ kind: 'prompt closed', prompt: d.s.prompt.id, why })
  // A question may have brought hands to the bench: they must be clear before HT rises again.
  if (d.s.prompt.purpose.kind !== 'hands clear') d.s.hands_in = true
  d.s.prompt = null
}

export function promptTimeouts(d: Draft): void {
  const prompt = d.s.prompt
  if (!prompt || d.s.t_us < prompt.until_us) return
  if (prompt.purpose.kind === 'hand off') return
  broke(d, {
    code: 'prompt-timeout',
    measured: (d.s.t_us - prompt.opened_us) / 1e6,
    limit: (prompt.until_us - prompt.opened_us) / 1e6,
    unit: 's',
    text: `No answer came in ${Math.round((prompt.until_us - prompt.opened_us) / 1e6)} s to: ${prompt.text}`,
  })
}

export const confirm = (text: string, about: string): Ask => ({
  text,
  wants: { kind: 'confirm' },
  timeout_s: 0,
  inside: false,
  about,
})

export const readingOf = (
  text: string,
  about: string,
  unit: 'V' | 'A' | 'Ω',
  low: number,
  high: number,
  at: { node?: string; rail?: string },
): Ask => ({
  text,
  wants: { kind: 'reading', node: at.node ?? null, rail: at.rail ?? null, unit, low, high },
  timeout_s: 0,
  inside: false,
  about,
})
