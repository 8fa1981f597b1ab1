import type { Bench } from '../../src/bench/index.js'
import { makePlan } from '../../src/plan/index.js'
import { load, type Part } from './parts.js'
import { bits, type Moment, readOf, type Signal } from './signals-list.js'

/** The run in which a signal is spoilt at a moment: on the bench that reads it, and of a profile that has the moment. */
export type SignalParts = (signal: Signal, moment: Moment) => Part

/** Planned when they are first asked for. */
export function loadSignalParts(): SignalParts {
  const made = new Map<string, Part>()
  return (signal, moment) => {
    const profile = moment === 'question open' ? 'asked' : 'hail'
    const register = readOf(signal).register === true
    const key = `${profile} ${register}`
    const part = made.get(key) ?? partOf(profile, register)
    made.set(key, part)
    return part
  }
}

function partOf(named: 'hail' | 'asked', register: boolean): Part {
  const { profile, equipment, bench: plain } = load(named)
  const bench = register ? withRegister(plain) : plain
  const { plan, problems } = makePlan(profile, equipment, bench, { unattended: false })
  if (plan === null) throw new Error(JSON.stringify(problems))
  return { of: 'bring-up', plan, equipment, bench, behind: equipment, stretch: 1, high_V: 100 }
}

/** The same bench, whose supplies tell their regulation, and over-current in HT's, by a status register. */
function withRegister(bench: Bench): Bench {
  const query = ':STAT:QUES:COND?'
  const ask_cc = { query, mask: bits.current, cv_mask: bits.voltage }
  const supplies = Object.entries(bench.supplies).map(([name, supply]) => {
    const tripped = name === 'high' ? { ask_over_amps_tripped: { query, mask: bits.over_current } } : {}
    return [name, { ...supply, dialect: { ...supply.dialect, ask_cc, ...tripped } }] as const
  })
  return { ...bench, supplies: Object.fromEntries(supplies) }
}
