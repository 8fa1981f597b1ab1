import { Simulation } from 'eecircuit-engine'
import { type Element, type Network, type Solution } from '../../src/network/index.js'
import { coldRatio, type DiodeModel, type ScreenModel, type TriodeModel } from '../../src/tubes/index.js'

/**
 * The outside reference for the network room: our elements written as an ngspice deck. Valves, gas regulators and
 * heaters are behavioural sources with the formulas of their models, written out here a second time.
 */
type Supply = Extract<Element, { kind: 'supply' }>
export type SupplyState = 'holding' | 'limited' | 'open'

const smallest_ohm = 1e-3
const exact = (value: number): string => value.toExponential(17)

const tight = 'reltol=1e-6 abstol=1e-13 vntol=1e-8 gmin=1e-14 rshunt=1e12 itl1=1000 itl2=1000'

let engine: Promise<Simulation> | null = null

/** Starting the engine takes seconds: once per test file. */
function started(): Promise<Simulation> {
  engine ??= (async () => {
    const simulation = new Simulation()
    await simulation.start()
    return simulation
  })()
  return engine
}

/** Volts and times by node name; one point for an operating point. */
export interface Reference {
  readonly points: number
  readonly time_s: readonly number[]
  readonly volts: Readonly<Record<string, readonly number[]>>
  /** What the engine had to say when it gave no result. */
  readonly error: string
}

/** Runs a deck: `analysis` is an ngspice line such as `.op` or `.tran 1m 1 0 1m uic`. */
export async function ngspice(
  network: Network,
  state: (supply: Supply) => SupplyState,
  analysis: string,
  guess?: Solution['volts'],
  options: string = tight,
): Promise<Reference> {
  const simulation = await started()
  const names = new Map<string, string>()
  simulation.setNetList(deckOf(network, state, analysis, names, guess, options))
  const result = await simulation.runSim()
  const error = simulation.getError().join('; ')
  const volts: Record<string, number[]> = {}
  const column = (name: string): number[] => {
    const found = result.data.find((data) => data.name.toLowerCase() === name)
    return (found?.values ?? []).map((value) => (typeof value === 'number' ? value : value.real))
  }
  for (const [node, short] of names) volts[node] = column(`v(${short})`)
  return { points: result.numPoints, time_s: column('time'), volts, error }
}

/**
 * What state a supply is in by our solution. The deck holds each supply on that one straight line, so the reference is
 * only right when its own volts agree with the state: `stateProblems` says where they do not.
 */
export function stateIn(solution: Solution): (supply: Supply) => SupplyState {
  return (supply) => {
    if (solution.limiting.includes(supply.name)) return 'limited'
    const V = (solution.volts[supply.a] ?? 0) - (solution.volts[supply.b] ?? 0)
    const I = -(solution.currents[supply.name]?.a ?? 0)
    return Math.abs(I) < 1e-12 && V > supply.V ? 'open' : 'holding'
  }
}

export function stateProblems(
  network: Network,
  state: (supply: Supply) => SupplyState,
  reference: Reference,
): string[] {
  const at = (node: string): number => (node === network.ground ? 0 : (reference.volts[node]?.[0] ?? NaN))
  return network.elements.flatMap((element) => {
    if (element.kind !== 'supply') return []
    const drop = element.V - (at(element.a) - at(element.b))
    const I = drop / Math.max(element.ohm, smallest_ohm)
    const right = {
      holding: I > -1e-6 && I < element.limit_A + 1e-6,
      limited: I > element.limit_A - 1e-6,
      open: drop < 1e-6,
    }[state(element)]
    return right ? [] : [`${element.name} is not ${state(element)}: ${I} A by its drop of ${drop} V`]
  })
}

function deckOf(
  network: Network,
  state: (supply: Supply) => SupplyState,
  analysis: string,
  names: Map<string, string>,
  guess: Solution['volts'] | undefined,
  options: string,
): string {
  const node = (name: string): string => {
    if (name === network.ground) return '0'
    const known = names.get(name) ?? `n${names.size + 1}`
    names.set(name, known)
    return known
  }
  const lines = network.elements.flatMap((element, i) => linesOf(element, `${i}`, node, state))
  const nodesets = [...names].map(([name, short]) => `.nodeset v(${short})=${exact(guess?.[name] ?? 0)}`)
  return [
    'slowglow network',
    `.options ${options}`,
    ...lines,
    ...(guess === undefined ? [] : nodesets),
    analysis,
    '.end',
    '',
  ].join('\n')
}

function linesOf(
  element: Element,
  i: string,
  node: (name: string) => string,
  state: (supply: Supply) => SupplyState,
): string[] {
  switch (element.kind) {
    case 'resistor':
    case 'meter':
      return Number.isFinite(element.ohm)
        ? [`r${i} ${node(element.a)} ${node(element.b)} ${exact(Math.max(element.ohm, smallest_ohm))}`]
        : []
    case 'contact':
      return element.closed
        ? [`r${i} ${node(element.a)} ${node(element.b)} ${exact(Math.max(element.ohm, smallest_ohm))}`]
        : []
    case 'capacitor':
      return [
        `r${i}s ${node(element.a)} c${i}m ${exact(Math.max(element.series_ohm, smallest_ohm))}`,
        `c${i} c${i}m ${node(element.b)} ${exact(element.F)}`,
        ...(element.leak_S > 0
          ? [`r${i}l ${node(element.a)} ${node(element.b)} ${exact(1 / element.leak_S)}`]
          : []),
      ]
    case 'inductor':
      return [
        `l${i} ${node(element.a)} l${i}m ${exact(element.H)}`,
        `r${i} l${i}m ${node(element.b)} ${exact(Math.max(element.ohm, smallest_ohm))}`,
      ]
    case 'supply':
      return {
        holding: [
          `v${i} v${i}m ${node(element.b)} ${exact(element.V)}`,
          `r${i} v${i}m ${node(element.a)} ${exact(Math.max(element.ohm, smallest_ohm))}`,
        ],
        limited: [`i${i} ${node(element.b)} ${node(element.a)} ${exact(element.limit_A)}`],
        open: [],
      }[state(element)]
    case 'junction':
      return [
        `d${i} ${node(element.a)} ${node(element.b)} dm${i}`,
        `.model dm${i} d(is=1e-9 n=${(1.75 * 0.02585) / 0.02586495})`,
      ]
    case 'diode tube':
      return [
        `b${i} ${node(element.plate)} ${node(element.cathode)} i=${exact(element.emission)}*${diode(element.model, `v(${node(element.plate)},${node(element.cathode)})`)}`,
      ]
    case 'regulator': {
      const V = `v(${node(element.a)},${node(element.b)})`
      const { operating_V, slope_ohm, min_A, max_A } = element.model
      const ohm = Math.max(slope_ohm, 1)
      const x = `((${V}-${exact(operating_V - (ohm * (min_A + max_A)) / 2)})/0.05)`
      const lit = `+${exact(0.05 / ohm)}*${softplus(x)}`
      return [`b${i} ${node(element.a)} ${node(element.b)} i=1e-10*${V}${element.lit ? lit : ''}`]
    }
    case 'heater': {
      const V = `v(${node(element.a)},${node(element.b)})`
      const ratio = element.cold_ratio ?? coldRatio('indirect').typical
      const b = 1 / (ratio * ratio - 1)
      const power = 2 * (1 - 0.58) * (1 + b)
      const hot = element.hot_V / element.hot_A
      const squared = `((exp(${exact(power)}*ln((abs(${V})+1e-15)/${exact(element.hot_V)}))+${exact(b)})/${exact(1 + b)})`
      const ohm = `(${exact((hot / ratio) * (1 - element.warmth))}+${exact(element.warmth * hot)}*sqrt(${squared}))`
      return [`b${i} ${node(element.a)} ${node(element.b)} i=${V}/${ohm}`]
    }
    case 'triode': {
      const [p, g, k] = [node(element.plate), node(element.grid), node(element.cathode)]
      const plate = `(${exact(element.emission)}*${space(element.model, `v(${p},${k})`, `v(${g},${k})`)})`
      const grid = `${exact(element.emission)}*${gridDiode(element.model.K, `v(${g},${k})`)}-${exact(element.gas)}*${plate}`
      return [`b${i}p ${p} ${k} i=${plate}`, `b${i}g ${g} ${k} i=${grid}`]
    }
    case 'screen tube': {
      const [p, s, g, k] = [
        node(element.plate),
        node(element.screen),
        node(element.grid),
        node(element.cathode),
      ]
      const { model } = element
      const Vp = `v(${p},${k})`
      const v = `(max(${Vp},0)*max(${Vp},0)*max(${Vp},0)/(${Vp}*${Vp}+1))`
      const S = `(${exact(element.emission)}*${space(model, `v(${s},${k})`, `v(${g},${k})`)})`
      const q = `(${v}/max(v(${s},${k}),1e-6)+0.05)`
      const wanted = `(${exact(model.r)}*exp(-${exact(model.n)}*ln(${q})))`
      const part = `(${wanted}/${exact(1 + model.r)})`
      const plate = `${S}*${exact(2 / Math.PI)}*atan(${v}/${exact(model.Vk)})*(1+${v}/${exact(model.Va)})`
      const grid = `${exact(element.emission)}*${gridDiode(model.K, `v(${g},${k})`)}-${exact(element.gas)}*(${plate})`
      return [
        `b${i}p ${p} ${k} i=${plate}`,
        `b${i}s ${s} ${k} i=${S}*${wanted}/sqrt(1+${part}*${part})`,
        `b${i}g ${g} ${k} i=${grid}`,
      ]
    }
  }
}

const softplus = (x: string): string => `(max(${x},0)+ln(1+exp(-abs(${x}))))`

/** K·E^x with the soft cut-off, physics.md section 1, and its 1 V knee towards zero driving volts. */
function space(model: TriodeModel | ScreenModel, driver: string, grid: string): string {
  const d = `max(${driver},1e-6)`
  const w = `(${d}*${exact(1 / (model.kr * model.mu))})`
  const u = `max(((${grid}+${exact(model.Vct)}+${d}*${exact(1 / model.mu)})/${w}),-700)`
  const E = `(${w}*${softplus(u)}+1e-30)`
  return `(${exact(model.K)}*exp(${exact(model.x)}*ln(${E}))*${d}*${d}/(${d}*${d}+1))`
}

function gridDiode(K: number, grid: string): string {
  const V = `max(${grid},0)`
  return `${exact(0.3 * K)}*${V}*sqrt(${V})`
}

function diode(model: DiodeModel, volts: string): string {
  const V = `max(${volts}-${exact(model.drop_V ?? 0)},0)`
  return `${exact(model.K)}*${V}*sqrt(${V})`
}
