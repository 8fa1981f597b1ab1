import type { Ask } from '../../src/plan/index.js'
import { type AtTheBench, type Said, willing } from '../../src/rehearse/operator.js'
import type { Mischief } from './nemesis.js'

/** Questions asked with nothing energised, while wires are made: they wait for an hour, and a run has no end worth waiting for. */
const wires = ['wire', 'stored charge', 'nothing moved']

export interface Given {
  /** From the question to each time the answer is given: as a rule once. */
  readonly after_us: readonly number[]
  /** What is said then. */
  said(): Said
}

/**
 * Somebody who does as asked, and whom the nemesis keeps, lets say it again, or makes say what is not so; null: no answer comes. `pace`:
 * the part of an ordinary person's time that is taken.
 */
export function answerTo(
  ask: Ask,
  at: AtTheBench,
  nemesis: Mischief,
  t_us: number,
  pace: number,
): Given | null {
  if (!wires.includes(ask.about) && nemesis.hits('answer never', t_us)) return null
  const answer = willing(ask, at)
  if (answer === null) return null
  const late_us = nemesis.hits('answer late', t_us) ? nemesis.between('answer', 5_000_000, 90_000_000) : 0
  const wrong = nemesis.hits('answer wrong', t_us)
  const twice = nemesis.hits('answer twice', t_us)
  const { value } = answer
  const after_us = Math.round(answer.after_s * pace * 1e6) + late_us
  return {
    after_us: twice ? [after_us, after_us + 50_000] : [after_us],
    said() {
      const right = typeof value === 'function' ? value() : value
      return !wrong ? right : typeof right === 'number' ? -3 * right - 1 : 'no'
    },
  }
}
