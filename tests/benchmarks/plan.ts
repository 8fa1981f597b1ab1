import { toNetwork } from '../../src/equipment/index.js'
import { loadAll } from '../../src/files/index.js'
import { createSolver } from '../../src/network/index.js'
import { makePlan } from '../../src/plan/index.js'
import { ngspice, stateIn } from '../helpers/ngspice.js'
import { bigSet } from './big-set.js'
import { againstLoop, arithmetic_ms, type Figure, median, times_ms } from './figures.js'

/** How long a plan takes, how that grows with the set, and the solver against ngspice on the demo's network. */
export async function planFigures(): Promise<Figure[]> {
  const demo = loadAll('profiles/tern-rock/receive.yaml').value
  if (demo === null) throw new Error('The demo does not load.')
  const demo_ms = median(times_ms(5, () => void makePlan(demo.profile, demo.equipment, demo.bench)))
  const big_ms = [15, 30, 60].map((tubes) => {
    const { profile, equipment, bench } = bigSet(tubes)
    const { plan, problems } = makePlan(profile, equipment, bench)
    if (plan === null) throw new Error(problems.map(({ what }) => what).join('\n'))
    return median(times_ms(3, () => void makePlan(profile, equipment, bench)))
  })
  const [at15 = NaN, at30 = NaN, at60 = NaN] = big_ms
  const growth = Math.log2(at60 / at15) / 2
  return [
    timed('plan of the demo, receive', demo_ms, 500),
    timed('plan of a set with 60 tubes, 30 steps', at60, 5000),
    {
      what: 'growth of that time with the number of tubes, 15 to 60 (power of the number)',
      value: growth,
      unit: '',
      yardstick: `15 tubes ${at15.toFixed(0)} ms, 30 tubes ${at30.toFixed(0)} ms, 60 tubes ${at60.toFixed(0)} ms`,
      ratio: at60 / at15,
      target: 'shown',
      met: null,
    },
    ...(await againstNgspice(demo)),
  ]
}

function timed(what: string, ms: number, most_ms: number): Figure {
  return {
    what,
    value: ms,
    unit: 'ms',
    yardstick: againstLoop(),
    ratio: ms / arithmetic_ms(),
    target: `< ${most_ms} ms`,
    met: ms < most_ms,
  }
}

async function againstNgspice(demo: NonNullable<ReturnType<typeof loadAll>['value']>): Promise<Figure[]> {
  const network = toNetwork(demo.equipment, 'receive', {
    HT: { V: 250, limit_A: 0.3, ohm: 0.2 },
    bias: { V: 60, limit_A: 0.1, ohm: 0.2 },
    heaters: { V: 12.6, limit_A: 10, ohm: 0.02 },
  })
  const solver = createSolver(network)
  const solution = solver.solve()
  const per = 50
  const ours_ms = median(times_ms(20, () => repeated(per, () => void solver.solve()))) / per
  // Once before, so that starting the engine is not counted against it.
  await ngspice(network, stateIn(solution), '.op')
  const theirs: number[] = []
  for (let i = 0; i < 5; i++) {
    const from = process.hrtime.bigint()
    const reference = await ngspice(network, stateIn(solution), '.op')
    theirs.push(Number(process.hrtime.bigint() - from) / 1e6)
    if (reference.points !== 1) throw new Error(reference.error)
  }
  const theirs_ms = median(theirs)
  return [
    {
      what: 'one operating point of the demo network, from dead',
      value: ours_ms * 1000,
      unit: 'µs',
      yardstick: `ngspice, same netlist, reltol 1e-6: ${theirs_ms.toFixed(1)} ms`,
      ratio: theirs_ms / ours_ms,
      target: '>= 100 times faster',
      met: theirs_ms / ours_ms >= 100,
    },
  ]
}

function repeated(times: number, call: () => void): void {
  for (let i = 0; i < times; i++) call()
}
