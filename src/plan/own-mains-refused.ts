import { type Equipment, type OwnMains, recordOf } from '../equipment/index.js'
import { type LimitProblem, show } from '../limits/index.js'
import { peakLeft_V, rectifierPulled } from './own-mains-charge.js'
import type { OwnContext } from './own-mains-context.js'

/** An electrolytic of more than 315 V stands this part of its rating for a surge (IEC 60384-4, from memory). */
const surge = 1.1

/** What keeps the set's own pack from being joined at all. */
export function refusals({
  equipment,
  bench,
  profile,
  options,
  stage,
  mode,
  own,
}: OwnContext): LimitProblem[] {
  const refuse = (what: string, remedy: string): LimitProblem => ({ severity: 'error', what, remedy })
  const made: LimitProblem[] = []
  if (options.unattended === true || profile.unattended)
    made.push(
      refuse(
        "The set's own transformer is not brought up unattended: nobody but you can turn it down.",
        'Stay with it.',
      ),
    )
  const fed = Object.entries(bench.supplies).flatMap(([supply, { channels }]) =>
    Object.entries(channels).flatMap(([channel, { feeds }]) =>
      Object.hasOwn(equipment.rails, feeds) ? [`${supply}.${channel} (${feeds})`] : [],
    ),
  )
  if (fed.length > 0)
    made.push(
      refuse(
        `The bench file joins ${fed.join(', ')} to the set: beside the set's own pack that is a second source on the same reservoir.`,
        'Take every lead of them off, and name a bench file that has no supply, with the meters alone.',
      ),
    )
  const rectifier = own.HT.rectifier === null ? undefined : equipment.tubes[own.HT.rectifier]
  if (
    stage.with === 'the set' &&
    rectifier !== undefined &&
    recordOf(rectifier)?.kind === 'rectifier-mercury'
  )
    made.push(
      refuse(
        `${own.HT.rectifier ?? ''} (${rectifier.type}) is a mercury-vapour rectifier: its filament stands at full volts for its time before any volts come to its plates, and one knob raises both together.`,
        'Feed its filament from a transformer of its own, or fit what needs no filament and say so: leave rectifier out.',
      ),
    )
  if (stage.with === 'the set' && own.HT.leaves_charged === undefined && !rectifierPulled(own))
    made.push(
      refuse(
        `HT is kept off by "${own.HT.opened_by}", and nothing says what that leaves charged: a reservoir before it goes to ${show(peakLeft_V(own, mode), 'V')} at full mains while ${own.HT.rail} reads nothing.`,
        own.HT.rectifier === null
          ? 'Under own_mains, HT, write leaves_charged: the node of the reservoir; it is read before a hand goes in.'
          : `Pull the rectifier instead and write opened_by: ${own.HT.rectifier} out of its socket; or write leaves_charged: the node of the reservoir, which is read before a hand goes in.`,
      ),
    )
  if (stage.with === 'the set' && equipment.modes[mode]?.driven === true)
    made.push(refuse(`Mode ${mode} keys a driven stage.`, 'Join the pack with the key up.'))
  return made
}

/** What the set should know of itself before its own pack is joined. */
export function warnings({ equipment, stage, mode, own }: OwnContext): LimitProblem[] {
  if (stage.with !== 'the set') return []
  const peak_V = peakLeft_V(own, mode)
  const least_V = Math.min(...reservoirs(equipment, own).map(({ rated_V }) => rated_V))
  if (!(peak_V > least_V)) return []
  const beyond = peak_V > surge * least_V
  return [
    {
      severity: beyond ? 'error' : 'warning',
      what: `With nothing drawn the reservoir goes to ${show(peak_V, 'V')}, and it is rated ${show(least_V, 'V')}${beyond ? `: more than the ${show(surge * least_V, 'V')} it stands for a surge` : ''}. ${own.HT.rectifier === null ? 'Semiconductors put that there at once, while the tubes are cold' : 'It does so when the rectifier warms before the tubes do'}: this set is raised by a variable transformer, never switched on at full mains with cold tubes.`,
      remedy: beyond
        ? 'Fit a reservoir of a higher rating, or correct the volts of the windings.'
        : 'Raise it as planned.',
    },
  ]
}

/** Capacitors that stand behind its rectifier. */
export function reservoirs(
  { rails, parts, rail_capacitors }: Equipment,
  { HT }: OwnMains,
): { rated_V: number; F: number }[] {
  const nodes = [rails[HT.rail]?.positive, HT.leaves_charged]
  return [
    ...Object.values(parts).flatMap((part) =>
      part.kind === 'capacitor' &&
      part.dielectric === 'electrolytic' &&
      part.between.some((node) => nodes.includes(node))
        ? [part]
        : [],
    ),
    ...Object.values(rail_capacitors).filter(({ rail }) => rail === HT.rail),
  ]
}
