import type { Plan } from '../plan/index.js'
import { typedValid_s, type View } from '../sequencer/index.js'
import type { LiveView } from './api/index.js'

/** A view with moments in place of ages, on the service's clock: whoever gets it late still knows how old each figure is. */
export function liveViewOf(view: View, plan: Plan, speed: number, heard_ms: number): LiveView {
  return {
    ...view,
    heard_ms,
    rails: view.rails.map(({ limits, age_s, ...rail }) => ({
      ...rail,
      measured_ms: age_s === null ? null : Math.round(heard_ms - (age_s * 1000) / speed),
      stale_ms: Math.round((staleOf_s(rail, plan) * 1000) / speed),
      limits:
        limits === null
          ? null
          : {
              at_V: limits.at_V,
              expected_A: limits.expected_A,
              lower_A: limits.lower_A,
              upper_A: limits.upper_A,
              ask_A: limits.ask_A,
              trip_A: limits.trip_A,
              ceiling_A: limits.ceiling_A,
              charge_A: limits.charge_A,
              over_voltage_V: limits.over_voltage_V,
              ...(limits.manual !== undefined && { manual: limits.manual }),
            },
    })),
  }
}

/** What was typed stands for its quarter of an hour; what is measured, until the next should have come. */
function staleOf_s({ rail, class: by }: Pick<View['rails'][number], 'rail' | 'class'>, plan: Plan): number {
  return by === 'hand' ? typedValid_s : (plan.rails[rail]?.stale_s ?? plan.stale_s)
}
