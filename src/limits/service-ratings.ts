import {
  drivenRating,
  type Equipment,
  figuresOf,
  type KnownFigures,
  type KnownRating,
  type RatedFigure,
} from '../equipment/index.js'
import type { Element, Solution } from '../network/index.js'
import { formatQuantity } from '../quantities/index.js'
import { sectionNumber } from './sampling.js'
import { type Drawn, drawsOf, type Stress } from './stress.js'

/* A driven stage against what its service allows. */

type Valve = Extract<Element, { readonly kind: 'triode' | 'screen tube' }>

/** What is known of a driven stage: what its service allows, and what it is scaled from. */
export interface Service {
  readonly type: string
  readonly known: KnownRating
  readonly figures: KnownFigures | null
}

export function serviceOf(equipment: Equipment, owner: string, { name }: Valve): Service | null {
  const tube = equipment.tubes[owner]
  const section = sectionNumber(name)
  const stage = tube?.sections[section]?.driven
  if (tube === undefined || stage === undefined) return null
  const of = { tube: owner, type: tube.type, section, stage }
  const known = drivenRating(equipment, of)
  return known === null ? null : { type: tube.type, known, figures: figuresOf(equipment, of) }
}

/** A driven stage is held by what its service allows, which is less with modulation than without, and absolute. */
export function drivenStresses(
  { type, known, figures }: Service,
  owner: string,
  element: Valve,
  solution: Solution,
): Stress[] {
  const volts = (node: string): number => solution.volts[node] ?? 0
  const { plate = 0, screen = 0, grid = 0 } = solution.currents[element.name] ?? {}
  const plate_V = volts(element.plate) - volts(element.cathode)
  const screen_V = element.kind === 'screen tube' ? volts(element.screen) - volts(element.cathode) : 0
  const { rating } = known
  const draws = { plate_A: plate, screen_A: screen, plate_V, screen_V }
  const add = serviceStress({ part: owner, element: element.name, type }, known, draws)
  return [
    ...add('plate current', plate, 'A', 'plate_A', plate + screen),
    ...add('plate input', plate * plate_V, 'W', 'plate_input_W', plate + screen),
    ...lossStress(add, plate * plate_V, plate + screen, figures),
    ...add('screen dissipation', screen * screen_V, 'W', 'screen_W', plate + screen),
    ...add('screen voltage', screen_V, 'V', 'screen_V', screen),
    ...add('plate voltage', plate_V, 'V', 'plate_V', plate),
    // What the HT rail draws says nothing of the grid: its own meter or the bias rail does (`drive`).
    ...(grid > 0 && rating.grid_A !== null && grid > rating.grid_A
      ? add('grid current', grid, 'A', 'grid_A', grid)
      : []),
  ]
}

/** What of the plate input stays in the plate, where the row that the stage is scaled from prints its output: tuned and loaded. */
function lossStress(
  add: ReturnType<typeof serviceStress>,
  input_W: number,
  A: number,
  figures: KnownFigures | null,
): Stress[] {
  if (figures === null || figures.output === null) return []
  const { output, text, source } = figures
  return add('plate dissipation', input_W * (1 - output), 'W', 'plate_W', A).map((stress) => ({
    ...stress,
    rating: `${stress.rating}, ${formatQuantity(Number(output.toPrecision(2)), 'ratio')} of its input being output as in ${text}`,
    source: `${stress.source}; ${source}`,
  }))
}

/** A driven stage against what its service allows: absolute, without any factor. `A` is what of it the rail sees. */
export function serviceStress(
  { part, element, type }: { readonly part: string; readonly element: string; readonly type: string },
  known: KnownRating,
  draws?: Drawn,
) {
  return (what: string, value: number, unit: 'W' | 'A' | 'V', of: RatedFigure, A: number): Stress[] => {
    const most = known.rating[of] ?? 0
    const recalled = known.recalled.has(of)
    return !(most > 0)
      ? []
      : [
          {
            part,
            element,
            what: `${part} (${type}) ${what} in ${known.text}`,
            ratio: value / most,
            of_rating: value / most,
            rating: formatQuantity(Number(most.toPrecision(3)), unit),
            source: recalled ? `unverified, check your manual (${known.source})` : known.source,
            ...(recalled && { unverified: 'figure' as const }),
            by_current: unit !== 'V',
            heat:
              unit === 'W' && / dissipation$/.test(what)
                ? { W: value, rated_W: most, of: 'electrode' }
                : null,
            needs_V: 0,
            A,
            squared: false,
            ...(draws !== undefined && unit !== 'V' && { draws: drawsOf(what, draws) }),
          },
        ]
  }
}
