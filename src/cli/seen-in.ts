import { decimal } from '../exchange/index.js'
import type { Seen, SeenHookup, SeenStep } from '../faults/index.js'
import { bandsOf, type RunReader, storyOf } from '../record/index.js'

/** A meter's reading older than this at the end of a step does not speak for it, µs. */
const lookBack_us = 60e6

/** What a recorded run measured, as a diagnosis takes it. */
export function seenIn(reader: RunReader): Seen {
  const story = storyOf(reader, { seal: false })
  const ends = new Map(bandsOf(reader).map(({ step, to_us }) => [step, to_us]))
  const streams = reader.streams().filter(({ name, unit }) => name.startsWith('meter.') && unit === 'V')
  const steps = story.steps.flatMap(({ index, do: what, began_s, rails }): SeenStep[] => {
    if (began_s === null || (what !== 'raise' && what !== 'hold')) return []
    const read = rails.flatMap(({ rail, volts, amps }) =>
      volts === null || amps === null ? [] : [[rail, { volts, amps }] as const],
    )
    const to_us = ends.get(index)
    const meters = streams.flatMap(({ id, name }) => {
      if (to_us === undefined) return []
      const { n, k } = reader.readings(id, to_us - lookBack_us, to_us)
      const last = n.length - 1
      return last < 0 ? [] : [[name.slice('meter.'.length), decimal(n[last] ?? 0, k[last] ?? 0)] as const]
    })
    return [{ step: index, rails: Object.fromEntries(read), meters: Object.fromEntries(meters) }]
  })
  const { reason, outcome } = story
  return {
    steps,
    hookups: hookupsIn(reader, story),
    tripped: outcome === 'tripped' && reason !== null ? { step: reason.step, text: reason.text } : null,
  }
}

/** An ohmmeter's reading as what these volts would drive. */
const ohmmeter_V = 0.5

/** The checks of the wiring below 5 V, passed or not, by the rail's own supply or by an ohmmeter. */
function hookupsIn(reader: RunReader, { events, reason }: ReturnType<typeof storyOf>): SeenHookup[] {
  const steps = reader.known()?.plan.steps ?? []
  return steps.flatMap(({ index, hookup }): SeenHookup[] => {
    if (hookup === null) return []
    const { rail, method, test_V } = hookup
    const by = method === 'ohmmeter' ? 'ohmmeter' : 'supply'
    const told = events.filter(({ step }) => step === index)
    const passed = told.findLast(({ what, data }) => what === 'hook-up' && typeof data.amps === 'number')
    if (by === 'supply' && passed !== undefined) {
      const { volts, amps } = passed.data
      return typeof volts === 'number' && typeof amps === 'number'
        ? [{ step: index, rail, by, volts, amps }]
        : []
    }
    const failed = reason?.code === 'hook-up' && reason.step === index && reason.unit === 'Ω'
    const typed = told.findLast(({ what, data }) => what === 'answer' && typeof data.value === 'number')
    const ohm = failed ? reason.measured : by === 'ohmmeter' ? (typed?.data.value ?? null) : null
    if (typeof ohm !== 'number' || !(ohm > 0)) return []
    const volts = by === 'ohmmeter' ? ohmmeter_V : test_V
    return [{ step: index, rail, by, volts, amps: volts / ohm }]
  })
}
