import { formatShort } from '../quantities/index.js'
import { heaterFits } from './heater-fits.js'
import type { Draft } from './state.js'
import { currentStep } from './state.js'
import type { Broken } from './types.js'

/** What a person does next after a trip: short, and only what the plan knows. Ranking causes is another matter. */
export function nextToDo(d: Draft, reason: Pick<Broken, 'code' | 'rail'>): string {
  const rail = reason.rail === null ? undefined : d.s.plan.rails[reason.rail]
  if (!rail) return ''
  const line = d.s.plan.hookup.find((each) => each.rail === rail.name)
  const [from, to] = [line?.positive ?? rail.positive, line?.negative ?? rail.negative]
  const dead = `Next: measure before touching; when ${rail.name} is read as dead at ${from}`
  const limits = currentStep(d.s)?.limits[rail.name]
  switch (reason.code) {
    case 'heater-lost': {
      if (!d.s.rails[rail.name]?.A) return ''
      const measured = d.s.rails[rail.name]?.A?.value ?? 0
      const chain = heaterFits(d, rail.name, measured - (limits?.expected_A ?? 0))
      return ` Next: measure before touching; HT dead, read each heater pin to pin${chain === '' ? '' : `: ${chain}`}.`
    }
    case 'over-ceiling':
    case 'over-trip':
    case 'current-limit':
    case 'slow-rise':
    case 'rising':
      if (rail.role === 'heater' || rail.role === 'bias') break
      return `${drivenHere(d)} ${dead}, read the ohms from there to ${to}: far less than at the hook-up check is a short on ${rail.name}${nodesOf(d, rail.positive)}.`
    case 'drive-lost':
      return ' Next: measure before touching; look at crystal or exciter, at the stages before it and their coupling, and at its grid circuit.'
    case 'bias-low':
      return ` Next: HT stays off; read the volts at ${rail.bias?.node ?? to} with ${rail.name} alone.`
    default:
  }
  return ` ${dead}, look at its leads and at what hangs on it.`
}

/** A driven stage that is off tune draws too much with every part of it sound: that is looked at before its ohms are. */
function drivenHere(d: Draft): string {
  return currentStep(d.s)?.drive === undefined
    ? ''
    : ' A stage is driven in this step: with its tank circuit off resonance, or coupled too tightly to its load, it can draw too much with nothing in it failed.'
}

/** Where the plan knows node volts (its own helper nodes have a colon), the parts behind those that should have stood highest are looked at first. */
function nodesOf(d: Draft, feed: string): string {
  const nodes = Object.entries(currentStep(d.s)?.nodes ?? {})
    .filter(([node, volts]) => node !== feed && !node.includes(':') && volts > 0)
    .sort(([, a], [, b]) => b - a)
    .slice(0, 3)
  return nodes.length === 0
    ? ''
    : `; behind it hang ${nodes.map(([node, volts]) => `${node} (${formatShort(volts, 'V')} expected)`).join(', ')}: the lowest in ohms is nearest to it`
}
