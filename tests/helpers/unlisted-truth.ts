import type { Bench } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { choices } from '../../src/faults/choices.js'
import {
  createLab,
  type Diagnosis,
  type Hypothesis,
  type Lab,
  type Reading,
  type Seen,
} from '../../src/faults/index.js'
import { handMeter } from '../../src/faults/hand-meter.js'
import { isLeast, weighMore, weighRun } from '../../src/faults/posterior.js'
import { createProbe } from '../../src/faults/probe.js'
import { createModel, shown, type Signal } from '../../src/faults/signals.js'
import type { Plan } from '../../src/plan/index.js'
import type { Spoilt } from './faulty-sets.js'

interface Set {
  readonly equipment: Equipment
  readonly bench: Bench
  readonly plan: Plan
  readonly lab: Lab
}

/** What an unlisted fault makes of the readings of a run, as a diagnosis that knew it would reckon it. */
export interface Truth {
  /** It stands out of what healthy sets read, by the measure that the diagnosis holds causes to. */
  readonly shows: boolean
  /** A cause that predicts the same: what was read does not stand out between the two, by that same measure. */
  readonly same: (cause: Hypothesis) => boolean
}

export function truthOf(
  set: Set,
  spoilt: Spoilt,
): (seen: Seen, told: Diagnosis, readings: readonly Reading[]) => Truth {
  const { equipment, bench, plan, lab } = set
  const { fault, extra } = spoilt
  // A bridge is a part more of a set that is otherwise as its file has it.
  const really =
    extra?.kind !== 'resistor'
      ? null
      : createLab(
          {
            ...equipment,
            parts: {
              ...equipment.parts,
              [extra.name]: {
                ...{ kind: 'resistor', between: [extra.a, extra.b], ohm: extra.ohm },
                ...{ tolerance: 0, rated_W: null, make: 'film' },
              },
            },
          },
          bench,
        )
  return (seen, told, readings) => {
    const model = createModel(lab, plan, seen)
    const at = told.measured_at
    const point = at === null ? null : { mode: at.mode, volts: at.volts, hot: true }
    const meter = handMeter(bench)
    const probe = createProbe(model, point, readings, meter)
    const alone = weighRun(model, [], null)
    const { signals, healthy, far } =
      probe.signals.length === 0 ? alone : weighMore(alone, model, probe, [], null)
    const own = really === null ? model : createModel(really, plan, seen)
    const ownProbe = really === null ? probe : createProbe(own, point, readings, meter)
    const who = really === null && fault !== null ? { fault } : null
    const last = model.tripped ? model.points.length - 1 : null
    // Of a current that tripped on its way up no more is known than that it came so far.
    const y = (signal: Signal, value: number): number =>
      shown(isLeast(signal, last) ? Math.min(value, signal.measured) : value, signal).y
    const row = signals.map((signal, i) => {
      const value = i < model.signals.length ? own.value(signal, who) : ownProbe.value(signal, who)
      return y(signal, value ?? Number.NaN)
    })
    return {
      shows: !(far(row, healthy) < choices.standsOut),
      same: ({ predicted }) =>
        far(
          signals.map((signal, i) => y(signal, predicted[i]?.predicted ?? Number.NaN)),
          row,
        ) < choices.standsOut,
    }
  }
}
