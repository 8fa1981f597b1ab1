import { endOrphan, readBenchState, removeBenchState, stillRuns } from '../controller/index.js'
import { lineConfigsOf } from '../line/index.js'
import { offPlanOf } from '../plan/index.js'
import { configAtSpeed, offAtSpeed } from './at-speed.js'
import { placesOf, virtualAs } from './places.js'
import type { NotBegun, Ready } from './types.js'

/** The first act of every start: whatever an earlier run left on is made safe and told. Null = the bench is clear. */
export async function clearFormerRun(
  prepared: Pick<Ready, 'bench' | 'equipment'>,
  statePath: string,
  told: (text: string) => void,
): Promise<NotBegun | null> {
  const { bench, equipment } = prepared
  const left = readBenchState(statePath)
  if (left === null) return null
  if (left !== 'unreadable' && stillRuns(left.supervisor))
    return {
      kind: 'not begun',
      why: 'busy',
      where: left.run_file,
      what: `Another run is under way on this bench (process ${left.supervisor.pid}, ${left.run_file}).`,
      remedy: `End that one first: at its terminal, or with kill ${left.supervisor.pid} (runs down), again (outputs off now), again (no longer asks for your knobs). slowglow safe-off --bench FILE does it too.`,
    }
  told('An earlier run on this bench did not end well. Reading back its outputs and making them safe first.')
  const speed = left === 'unreadable' ? 1 : left.speed
  const configs = lineConfigsOf(bench).map((config) => configAtSpeed(config, speed))
  const otherwise = {
    configs,
    off: offAtSpeed(offPlanOf(bench, equipment), speed),
    places: placesOf(bench, {}),
  }
  const own = virtualAs(bench) !== null
  if (own && left === 'unreadable') {
    told('Its state cannot be read; its bench was a virtual one of its own, so nothing real is on.')
    removeBenchState(statePath)
    return null
  }
  const orphan = await endOrphan(left, otherwise, {
    told: (output) => {
      told(output.kind === 'alarm' ? `ALARM: ${output.text}` : `  ${output.text}`)
    },
  })
  for (const text of orphan.found) told(text)
  const ports = new Set(otherwise.off.channels.map(({ port }) => port))
  if (own && orphan.result.silent.length === ports.size) {
    told('Its bench was a virtual one of its own, which is gone: nothing real is on.')
  } else if (orphan.result.outputs_off !== 'confirmed')
    return {
      kind: 'not begun',
      why: 'outputs not confirmed off',
      where: left === 'unreadable' ? statePath : left.run_file,
      what: `OUTPUTS NOT CONFIRMED OFF after an earlier run: ${orphan.result.text}`,
      remedy: 'Cut the mains of the HT sources now (not of the bias).',
    }
  removeBenchState(statePath)
  told("The set's stored charge: not measured: take it as charged. Measure before touching.")
  return null
}
