import { type Chance, chance } from '../chance/index.js'
import type { Equipment, RailName } from '../equipment/index.js'
import { heaterChanges, type HeaterPoint, layHeaters, solveHeaters } from './heater-chains.js'
import { heaterSource, heatersOn, heaterSpread, heaterWindow } from './heaters.js'
import { type Expectation, show } from './rail-limits.js'
import { quantile } from './spread.js'
import type { HeaterVolts, LimitProblem, RailBench } from './types.js'

/** Sets of heaters drawn for a band, as for every other rail. */
const samples = 48

export type HeaterExpectation = Expectation & { readonly problems: readonly LimitProblem[] }

/** What a heater rail should draw at `volts`, hot, and what each of its heaters then gets. */
export function heaterExpectation(
  equipment: Equipment,
  bench: RailBench,
  volts: number,
  seed: number,
): HeaterExpectation {
  const laid = layHeaters(equipment, bench.name)
  const nominal = solveHeaters(laid, volts, bench.lead_ohm)
  const drawn = chance(seed)
  const tolerances = new Map(
    laid.chains.flatMap(({ groups }) =>
      groups.flatMap((group) =>
        group.flatMap(({ kind, part, tolerance }) =>
          kind === 'resistor' ? [[part, tolerance] as const] : [],
        ),
      ),
    ),
  )
  // As a factor on its current: a heater as heaters vary, a dropper or shunt as the file states its tolerance.
  const variation = (part: string, source: Chance): number => {
    const tolerance = tolerances.get(part)
    return tolerance === undefined
      ? 1 + heaterSpread * source.normal()
      : 1 / (1 + tolerance * (2 * source.next() - 1))
  }
  const across = new Map<string, number[]>()
  const A = Array.from({ length: samples }, (_, n) => {
    const own = drawn.fork(`heaters ${n}`)
    const { amps, chains } = solveHeaters(laid, volts, bench.lead_ohm, (part) =>
      variation(part, own.fork(part)),
    )
    for (const { elements } of chains)
      for (const element of elements) {
        const all = across.get(element.part)
        if (all === undefined) across.set(element.part, [element.volts])
        else all.push(element.volts)
      }
    const u = Math.max(-1, Math.min(1, own.normal() / 2))
    return Math.max(0, amps + u * (bench.accuracy_A.of_reading * amps + bench.accuracy_A.plus))
  })
  const tubes = heatersOn(equipment, bench.name)
  const changed = heaterChanges(laid, volts, bench.lead_ohm)
  const shares = laid.chains.flatMap(({ name, groups }) =>
    groups.flatMap((group) =>
      group.flatMap((element) =>
        element.kind === 'resistor'
          ? []
          : [
              {
                tube: element.part,
                A: -changed(name, (part) => (part === element.part ? 'open' : 1)).change_A,
              },
            ],
      ),
    ),
  )
  const heaters = nominal.chains.flatMap(({ elements }) =>
    elements.flatMap(({ part, volts: own_V, rated_V }) => {
      const drawn_V = across.get(part) ?? []
      return rated_V === null
        ? []
        : [
            {
              part,
              volts: own_V,
              lower_V: Math.min(own_V, quantile(drawn_V, 0.05)),
              upper_V: Math.max(own_V, quantile(drawn_V, 0.95)),
              rated_V,
            },
          ]
    }),
  )
  const told = tubes.flatMap((tube) => heaterSource(equipment, tube) ?? [])
  const sources = [...new Set(told.map(({ source }) => source))]
  const chains = nominal.chains.map((chain) => `${chain.chain} ${show(chain.amps, 'A')}`).join(', ')
  return {
    expected_A: nominal.amps,
    text: `hot heaters at ${show(volts, 'V')} (current follows V^0.58)${bench.lead_ohm > 0 ? `, leads of ${show(bench.lead_ohm, 'Ω')} included` : ''}; by chain: ${chains}${voltsWords(bench, nominal.set_V, heaters)}`,
    source: sources.slice(0, 3).join('; ') + (sources.length > 3 ? `; and ${sources.length - 3} more` : ''),
    unverified: told.some(({ recalled }) => recalled) ? 'figure' : undefined,
    spread: {
      kind: 'samples',
      A,
      text: `9 of 10 healthy sets (one heater varies by 3 %: common practice, no source${tolerances.size > 0 ? '; resistors as the set file states' : ''})`,
      source: 'common practice, no source',
    },
    guards: [
      {
        part: bench.name,
        ceiling_A: 1.2 * nominal.amps,
        text: '1.2 × expected: beyond any healthy set of heaters, and below what one shorted heater of a series pair makes of its chain (2^0.58 = 1.5 ×)',
        source: "slowglow's own choice, no published source",
        remedy: 'Read the heater current with a meter that is right to a tenth of it.',
      },
    ],
    charging_F: 0,
    shares,
    heaters,
    problems: heaterProblems(bench.name, nominal, volts),
  }
}

/** Volts at the set and what each heater gets of its own: from the worst fed to the best. */
function voltsWords(bench: RailBench, set_V: number, heaters: readonly HeaterVolts[]): string {
  const [first] = heaters
  if (first === undefined) return ''
  const part = (of: (heater: HeaterVolts) => number, take: (...all: number[]) => number): string =>
    `${Math.round(100 * take(...heaters.map((heater) => of(heater) / heater.rated_V)))}`
  const there = bench.lead_ohm > 0 ? `; ${show(set_V, 'V')} at the set` : ''
  return `${there}; each heater gets ${part((each) => each.volts, Math.min)} to ${part((each) => each.volts, Math.max)} % of its rated volts (healthy sets: ${part((each) => each.lower_V, Math.min)} to ${part((each) => each.upper_V, Math.max)} %)`
}

function heaterProblems(rail: RailName, point: HeaterPoint, volts: number): LimitProblem[] {
  const problems: LimitProblem[] = point.missing.map((what) => ({
    severity: 'error',
    what: `Heaters on ${rail}: ${what}.`,
    remedy: 'Correct the type, or give the heater as a lamp or resistor part with its volts and amps.',
  }))
  for (const chain of point.chains) {
    if (!(chain.amps > 0)) {
      problems.push({
        severity: 'error',
        what: `Heater chain ${chain.chain} on ${rail} is open: a tube in it is pulled or an element is missing.`,
        remedy: 'Fit the tube, or a resistor of its hot resistance in its place, and say so in the file.',
      })
    }
    for (const element of chain.elements) {
      if (element.rated_V === null) continue
      const part = element.volts / element.rated_V
      if (part > heaterWindow.high) {
        problems.push({
          severity: part > 1.2 ? 'error' : 'warning',
          what: `${element.part} would get ${show(element.volts, 'V')} on its ${show(element.rated_V, 'V')} heater with ${show(volts, 'V')} on ${rail}.`,
          remedy: `Lower the rail or correct the chain: ${heaterWindow.source}.`,
        })
      } else if (part < heaterWindow.low && chain.amps > 0) {
        problems.push({
          severity: 'warning',
          what: `${element.part} gets only ${show(element.volts, 'V')} on its ${show(element.rated_V, 'V')} heater with ${show(volts, 'V')} on ${rail}.`,
          remedy: `Thicker or sensed leads, or more volts: ${heaterWindow.source}.`,
        })
      }
    }
  }
  return problems
}
