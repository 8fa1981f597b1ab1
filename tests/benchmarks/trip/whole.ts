import type { Supply } from '../../../src/bench/index.js'
import { planAtSpeed } from '../../../src/session/at-speed.js'
import { type LineConfig, lineConfigOf } from '../../../src/line/index.js'
import type { Plan } from '../../../src/plan/index.js'
import { channelOf, fullDialect, supplyOf } from '../../helpers/line-world.js'
import { smallPlan } from '../../helpers/small-plan.js'

/** A small set and a fast clock: a whole run from its first question to outputs confirmed off is a second or two. */
export const speed = 60

/** HT on a line of its own, heaters and bias on another. */
const places: Readonly<Record<string, { readonly port: string; readonly number: number }>> = {
  HT: { port: 'ht', number: 1 },
  LT: { port: 'low', number: 1 },
  BIAS: { port: 'low', number: 2 },
}
/** Loads, ohm, by channel of its supply. */
export const loads: Readonly<Record<string, Readonly<Record<string, number>>>> = {
  ht: { '1': 5000 },
  low: { '1': 3, '2': 4000 },
}

export const supplies: Readonly<Record<string, Supply>> = {
  ht: supplyOf({ ...fullDialect, select: null }, { '1': channelOf(1) }),
  low: supplyOf(fullDialect, {
    '1': channelOf(1, { role: 'heater', max_V: 15, max_A: 10 }),
    '2': channelOf(2, { role: 'bias', max_V: 60, max_A: 0.1 }),
  }),
}
export const ports = Object.keys(supplies)

export const configs: readonly LineConfig[] = Object.entries(supplies).map(([port, supply]) => ({
  ...lineConfigOf(port, supply),
  identity: supply.identity,
  reply_us: 1_000_000 * speed,
}))

export function wholePlan(): Plan {
  const plan = smallPlan((small) => ({
    ...small,
    rails: Object.fromEntries(
      Object.entries(small.rails).map(([name, rail]) => {
        const { port = '', number = 1 } = places[name] ?? {}
        const channels = rail.channels.map((part) => ({ ...part, port, channel: `${port}.${number}` }))
        return [name, { ...rail, bias: null, channels }]
      }),
    ),
    meters: {},
    heaters: small.heaters.map((chain) => ({ ...chain, warm_up_s: 5 })),
    steps: small.steps
      .filter(({ hookup }) => hookup === null)
      .map((step, index, { length }) => ({
        ...step,
        index: index + 1,
        // A busy machine takes its time, and the clock of the run does not wait for it.
        soft_start_s: step.soft_start_s * speed,
        settle_within_s: step.settle_within_s * speed,
        ...(index === length - 1 && { hold_s: 100_000 }),
      })),
    time_budget_s: 200_000,
  }))
  return planAtSpeed(plan, speed)
}
