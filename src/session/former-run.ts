import {
  endOrphan,
  readBenchState,
  removeBenchState,
  type SafeOffResult,
  stillRuns,
} from '../controller/index.js'
import { lineConfigsOf } from '../line/index.js'
import { offPlanOf } from '../plan/index.js'
import { configAtSpeed, offAtSpeed } from './at-speed.js'
import { handsOpen } from './off-words.js'
import { placesOf, virtualAs } from './places.js'
import type { NotBegun, Ready } from './types.js'

/** What slowglow switches on this bench was measured off; rails on a person's own knob nobody could ask about. */
export interface Cleared extends Pick<SafeOffResult, 'rails' | 'hand_rails'> {
  readonly kind: 'cleared'
}

/**
 * The first act of every start: whatever an earlier run left on is made safe and told. Null: it left nothing, or nothing real. Where a
 * rail is on a person's own knob its state stays, so that this is told until a run has asked for that knob.
 */
export async function clearFormerRun(
  prepared: Pick<Ready, 'bench' | 'equipment'>,
  statePath: string,
  told: (text: string) => void,
): Promise<Cleared | NotBegun | null> {
  const { bench, equipment } = prepared
  const left = readBenchState(statePath)
  if (left === null) return null
  // A service outlives its runs: what it left itself is of a run that is over.
  const other = left !== 'unreadable' && left.supervisor.pid !== process.pid
  if (other && stillRuns(left.supervisor))
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
    told(chargeNotMeasured)
    removeBenchState(statePath)
    return null
  }
  const { outputs_off, rails, hand_rails } = orphan.result
  if (outputs_off !== 'confirmed')
    return {
      kind: 'not begun',
      why: 'outputs not confirmed off',
      where: left === 'unreadable' ? statePath : left.run_file,
      what: `OUTPUTS NOT CONFIRMED OFF after an earlier run: ${orphan.result.text}`,
      remedy: 'Cut the mains of the HT sources now (not of the bias).',
    }
  if (handsOpen({ hand_rails }).length === 0) removeBenchState(statePath)
  told(chargeNotMeasured)
  return { kind: 'cleared', rails, hand_rails }
}

const chargeNotMeasured =
  "The set's stored charge: not measured: take it as charged. Measure before touching."
