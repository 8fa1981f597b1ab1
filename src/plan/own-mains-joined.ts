import { ownMainsRail } from '../equipment/index.js'
import { type LimitProblem, show } from '../limits/index.js'
import { setDischarge_s } from './discharge.js'
import { chargedNodes, leftWords } from './own-mains-charge.js'
import type { OwnContext } from './own-mains-context.js'
import { ownPoint, type OwnPoint, starved } from './own-mains-expect.js'
import { type Amps, type OwnSteps, senses, unplugged } from './own-mains-steps.js'
import { railsOf, warmUpOf } from './stages.js'

const practice = 'common practice, no source'
/** With HT kept off. */
const unrectified = [0.25, 0.5, 0.8, 1] as const
/** Twenty per cent at a time (published, second-hand); a valve rectifier starts with its filament, semiconductors at once. */
const valve = [0.2, 0.4, 0.6, 0.8, 0.9, 1] as const
const semiconductors = [0.1, ...valve] as const
const holds_s = { low: 15, high: 60, full: 300 } as const
/** How far heater volts may be off (common practice, no source). */
const within = 0.1

/** The set on its own pack: heaters and bias first with HT kept off, then all of it, heaters and HT rising together. */
export function joinedSteps(to: OwnSteps): void {
  const { equipment, desk, own, stage } = to.of
  const { HT } = own
  const name = stage.name
  const full = ownPoint(to.of, 1, true)
  const above = aboveMost(to.of, full)
  to.problems.push(...(above ?? full.problems.filter(({ severity }) => severity === 'error')))
  const amps = (point: OwnPoint): Amps => ({
    expected_A: point.mains_A,
    upper_A: point.part < starved || own.no_load_A === undefined ? Infinity : 1.5 * point.mains_A,
    trip_A: 1.6 * point.mains_A + 0.1 * own.fuse_A,
    fuse_A: own.fuse_A,
    text:
      point.HT === null
        ? 'heaters and bias by their own limits, and what the iron takes'
        : `heaters, bias and HT (${show(point.HT.V, 'V')} at ${show(point.HT.A, 'A')}) by their own limits, and what the iron takes`,
    source: `computed; 85 % efficiency: ${practice}`,
  })
  to.confirm(
    `${name}: joined`,
    `${unplugged}: the wires that were lifted are joined again, all tubes are in their sockets and HT is kept off: ${HT.opened_by}.${leftWords(own, to.of.mode)} No lead of a bench supply is on the set. Take your hands out, plug in, switch on, then confirm.`,
    true,
    'fit set',
  )
  for (const part of unrectified) {
    const where = `${name}, HT off: ${show(part, 'ratio')}`
    const warm_s = Math.max(
      holds_s.high,
      ...railsOf(equipment, 'heater').map((rail) => warmUpOf(equipment, rail).s),
    )
    to.raise(where, part, part < starved ? holds_s.low : warm_s, amps(ownPoint(to.of, part, false)))
    to.confirm(where, senses, false)
  }
  for (const rail of railsOf(equipment, 'heater')) heaterReading(to, `${name}, HT off: heaters`, rail)
  for (const rail of railsOf(equipment, 'bias')) biasReading(to, `${name}, HT off: bias`, rail)
  to.down(`${name}, HT off: down`)
  uncharged(to, `${name}: charge`, Math.ceil(setDischarge_s(equipment, desk) ?? 60))
  to.confirm(
    `${name}: HT joined`,
    `${unplugged}, the charge measured: undo what keeps HT off (${HT.opened_by}). Once more: no lead of a bench supply is on the set. Take your hands out, plug in, switch on, then confirm.`,
    true,
    'fit rectifier',
  )
  const steps = HT.rectifier === null ? semiconductors : valve
  for (const part of steps) {
    const point = ownPoint(to.of, part, true)
    if (point.HT?.strikes === true && part < 1) {
      to.left_out.push({
        rail: ownMainsRail,
        V: point.mains_V,
        text: `${show(point.mains_V, 'V')} of mains (HT ${show(point.HT.V, 'V')}) is passed over: a gas regulator may be lit or dark there`,
      })
      continue
    }
    to.points.push(point)
    const where = `${name}: ${show(part, 'ratio')}`
    const hold_s = part < starved ? holds_s.low : part < 1 ? holds_s.high : (stage.hold_s ?? holds_s.full)
    to.raise(where, part, hold_s, amps(point))
    currentReading(to, where, point)
    if (part >= starved) {
      // Too little of it burns what it holds back, and HT stands now.
      for (const rail of railsOf(equipment, 'bias')) biasReading(to, where, rail, part)
      voltsReading(to, where, point)
      to.confirm(where, senses, false)
    }
  }
  for (const rail of railsOf(equipment, 'heater')) heaterReading(to, `${name}: heaters under load`, rail)
  to.down(`${name}: down`)
  uncharged(to, `${name}: charge`, Math.ceil(setDischarge_s(equipment, desk) ?? 60))
}

/** Full mains would take HT above what the rail may carry: said before whatever else follows from it; null where it does not. */
function aboveMost({ equipment, own, mode }: OwnContext, { HT }: OwnPoint): LimitProblem[] | null {
  const max = equipment.rails[own.HT.rail]?.max_V
  if (HT === null || max === undefined || HT.V <= max.value) return null
  return [
    {
      severity: 'error',
      what: `At full mains ${own.HT.rail} comes to ${show(HT.V, 'V')} at ${show(HT.A, 'A')} in ${mode}, and may carry ${show(max.value, 'V')} (${max.source}).`,
      remedy:
        'Correct the volts of the windings or the mains tap under own_mains; where they are right, what took those volts before is missing: a dropping resistor, a valve rectifier that was replaced by semiconductors.',
    },
  ]
}

function currentReading(to: OwnSteps, stage: string, { part, HT }: OwnPoint): void {
  if (HT === null) return
  const { read_at, rail } = to.of.own.HT
  const why =
    part < starved
      ? `cathodes at ${show(part, 'ratio')} of their volts give ${HT.emission < 0.01 ? 'next to nothing' : `some ${show(HT.emission, 'ratio')}`} of their current, so anything from nothing to ${show(HT.high_A, 'A')} passes`
      : `the set's circuit solved at ${show(HT.V, 'V')} with the bias that stands there, cathodes giving ${show(HT.emission, 'ratio')}`
  to.reading(
    stage,
    `Read the HT current on the ${read_at}: about ${show(HT.A, 'A')} (${why}). More is a short, a leaking reservoir or lost bias: turn down at once. A figure above ${show(HT.high_A, 'A')} ends the run as soon as it is typed. No hand goes in.`,
    'own mains current',
    { kind: 'reading', node: null, rail, unit: 'A', low: HT.low_A, high: HT.high_A },
  )
}

function voltsReading(to: OwnSteps, stage: string, { HT }: OwnPoint): void {
  const { equipment, own } = to.of
  const node = equipment.rails[own.HT.rail]?.positive
  if (HT === null || node === undefined) return
  to.reading(
    stage,
    `Read the HT volts at ${node} on the meter that is clipped on: about ${show(HT.V, 'V')}; the most that it may carry is ${show(equipment.rails[own.HT.rail]?.max_V.value ?? 0, 'V')}. No hand goes in.`,
    'own mains volts',
    {
      ...{ kind: 'reading', node, rail: null, unit: 'V', low: HT.low_V },
      high: Math.min(HT.high_V, equipment.rails[own.HT.rail]?.max_V.value ?? Infinity),
    },
  )
}

function heaterReading(to: OwnSteps, stage: string, rail: string): void {
  const V = to.of.equipment.rails[rail]?.working_V ?? 0
  to.reading(
    stage,
    `Read the AC volts of ${rail} on the meter that is clipped on: ${show(V, 'V')}, a tenth either way (${practice}). No hand goes in.`,
    'own mains heaters',
    { kind: 'reading', node: null, rail, unit: 'V', low: (1 - within) * V, high: (1 + within) * V },
  )
}

/** At less than full mains it is as much less as what it holds back. */
function biasReading(to: OwnSteps, stage: string, rail: string, part = 1): void {
  const bias = to.of.equipment.rails[rail]?.required_bias
  if (bias === undefined) return
  const [least_V, usual_V] = [part * bias.at_least_V, part * bias.nominal_V]
  const ends = [least_V, 1.25 * usual_V].sort((a, b) => a - b)
  to.reading(
    stage,
    `Read the bias at ${bias.node} against ${to.of.equipment.chassis_node} on the meter that is clipped on, with its sign: ${show(usual_V, 'V')} is usual, ${show(least_V, 'V')} the least with HT (${bias.source}${part < 1 ? `; ${show(part, 'ratio')} of it here` : ''}). No hand goes in.`,
    'own mains bias',
    { kind: 'reading', node: bias.node, rail: null, unit: 'V', low: ends[0] ?? 0, high: ends[1] ?? 0 },
  )
}

/** Watched down before anybody reaches in: asked again as often as it takes. */
function uncharged(to: OwnSteps, stage: string, s: number): void {
  to.hold(stage, s)
  for (const node of chargedNodes(to.of.equipment, to.of.own))
    to.reading(
      stage,
      `Switch the variable transformer off and pull its plug; then read the volts left at ${node} on the meter that is clipped on; above ${show(5, 'V')} wait, or discharge it through a resistor, and read again.`,
      'stored charge',
      { kind: 'reading', node, rail: null, unit: 'V', low: -5, high: 5 },
    )
}
