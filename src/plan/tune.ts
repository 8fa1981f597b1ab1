import { type Equipment, recordOf } from '../equipment/index.js'
import { type DrivenNow, show } from '../limits/index.js'
import type { Course } from './course.js'
import { defaultsFor, type FilledStage } from './stages.js'
import type { RailLimits, Reason, TimeLimit } from './types.js'

/**
 * Tuning a driven stage: off tune its plate draws several times the dip and nearly all of it is heat, so HT is low, the
 * current has a ceiling of its own and the time is short. A person turns an insulated control and watches the HT current.
 */

/** Off tune the plate draws up to this many times the dip (common practice, no source). */
const offTune = 2.5
/** Longest time off tune with the plate inside its dissipation, and up to twice it (common practice, no source). */
const within_s = { inside: 30, beyond: 10 } as const
/** Heat beyond this many times the plate's rating is not tuned at, at all (our choice). */
const most = 2

export function tune(course: Course, name: string, stage: Extract<FilledStage, { do: 'tune' }>): void {
  const { tube, rail, turn } = stage
  const { equipment, desk } = course.of
  const refuse = (what: string, remedy: string): void => {
    course.problems.push({ severity: 'error', what, remedy })
  }
  const side = desk.rails[rail]
  const reach = course.of.reach(rail)
  if (side === undefined) return
  const at_V = Math.min(stage.at_V, reach.V)
  const inside = turn.filter((control) => !equipment.panel_controls.includes(control))
  if (inside.length > 0) {
    refuse(
      `Stage "${name}" has ${inside.join(', ')} turned while ${rail} stands at ${show(at_V, 'V')}, and the set file does not name it among its panel_controls.`,
      'Only insulated controls outside the case are asked for at voltage: add it to panel_controls if it is one.',
    )
    return
  }
  const before = course.at(rail)
  if (before >= at_V) course.lower(`${name}: lower first`, rail, 0)
  const point = course.pointWith(rail, at_V)
  const now = point.driven.find((each) => each.tube === tube)
  const own = point.limits[rail]
  if (now?.by !== 'RF' || own === undefined) {
    refuse(
      `Stage "${name}" tunes ${tube}, which is not driven by RF in ${course.mode}.`,
      `Put a mode in which ${tube} is driven before it, and say so in the set file: driven: { in: [${course.mode}], … } under ${tube}.`,
    )
    return
  }
  const record = equipment.tubes[tube] === undefined ? null : recordOf(equipment.tubes[tube])
  const rated = record?.max.plate_W
  const heat_W = offTune * now.plate_A * at_V
  if (rated === undefined || heat_W > most * rated.value) {
    refuse(
      `Off tune ${tube} (${now.type}) draws up to ${show(offTune * now.plate_A, 'A')} at ${show(at_V, 'V')}, and ${show(heat_W, 'W')} of it is heat in its plate: ${rated === undefined ? 'nothing is known of what that stands' : `its rating is ${show(rated.value, 'W')} (${rated.source}), and twice that is the most for seconds`}.`,
      rated === undefined ? `Give ${tube} a record with its plate_W.` : 'Tune at fewer volts.',
    )
    return
  }
  const most_s = heat_W <= rated.value ? within_s.inside : within_s.beyond
  const s = Math.min(most_s, stage.within_s ?? most_s)
  const tuned = withRoom(course, own, now, rail, Math.min(side.max_A, lowestInPath(course, rail, at_V, tube)))
  if (tuned === null) {
    refuse(
      `At ${show(at_V, 'V')} there is no room to tune ${tube}: another part or the supply of ${rail} is at its limit before ${tube} draws ${offTune} times its dip.`,
      'Tune at fewer volts.',
    )
    return
  }
  const limit: TimeLimit = {
    name: `tuning ${tube}`,
    rail,
    above_V: 0.8 * at_V,
    s,
    text: `${tube} may stand off tune no longer than ${show(s, 's')} at ${show(at_V, 'V')}: up to ${show(heat_W, 'W')} in a plate rated ${show(rated.value, 'W')}`,
    source: `time: common practice, no source; rating: ${rated.source}`,
  }
  const filled = defaultsFor(equipment, rail, point.charging_F[rail] ?? 0)
  const from = course.steps.length
  course.raise(name, rail, {
    V: at_V,
    slew_V_per_s: stage.slew_V_per_s ?? filled.slew_V_per_s,
    hold_s: 0,
    settle_within_s: 0,
    slew_because:
      stage.slew_V_per_s === null ? filled.slew_because : `${show(stage.slew_V_per_s, 'V/s')}: stated`,
    hold_because: '0 s: the time off tune counts',
    stated: { slew: stage.slew_V_per_s !== null, hold: false },
  })
  course.ask(name, {
    figure: rail,
    text: `Dip ${tube}: one hand, insulated tools only, turn ${turn.join(', then ')} for the least current of ${rail}, which should come to about ${show(own.expected_A, 'A')}; ${show(own.trip_A, 'A')} and more is not tuned. ${show(s, 's')} at most, then everything goes off. Confirm when it is at its dip.`,
    wants: { kind: 'confirm' },
    timeout_s: s,
    inside: false,
    about: 'tune',
  })
  for (const [at, step] of course.steps.entries())
    if (at >= from)
      course.steps[at] = { ...step, limits: { ...step.limits, [rail]: tuned(step.limits[rail] ?? own) } }
  // Under its usual limits from here: what was not dipped trips.
  course.push(`${name}: dipped?`, { do: 'hold', hold_s: 3, expected_s: 3 })
  for (const [at, step] of course.steps.entries())
    if (at >= from) course.steps[at] = { ...step, time_limits: [...(step.time_limits ?? []), limit] }
}

/** The lowest that the parts in the tube's plate lead allow this rail here: what it draws more passes through them. */
function lowestInPath(course: Course, rail: string, at_V: number, tube: string): number {
  const { equipment, desk } = course.of
  const path = plateLead(equipment, tube, equipment.rails[rail]?.positive ?? '')
  const guards = desk.operating?.at(course.mode, { ...course.volts, [rail]: at_V }, 'hot').guards[rail] ?? []
  return Math.min(
    Infinity,
    ...guards.filter(({ part }) => path.includes(part)).map(({ ceiling_A }) => ceiling_A),
  )
}

/** Parts between a tube's plate and its rail, by the shortest way that does not touch the chassis. */
function plateLead(equipment: Equipment, tube: string, to: string): string[] {
  const start = equipment.tubes[tube]?.sections[0]?.plate
  const ways: { readonly node: string; readonly parts: readonly string[] }[] =
    start === undefined ? [] : [{ node: start, parts: [] }]
  const seen = new Set([equipment.chassis_node, ...(start === undefined ? [] : [start])])
  for (let way = ways.shift(); way !== undefined; way = ways.shift()) {
    if (way.node === to) return [...way.parts]
    for (const [name, part] of Object.entries(equipment.parts)) {
      if (!('between' in part) || part.kind === 'capacitor' || !part.between.includes(way.node)) continue
      const node = part.between[0] === way.node ? part.between[1] : part.between[0]
      if (seen.has(node)) continue
      seen.add(node)
      ways.push({ node, parts: [...way.parts, name] })
    }
  }
  return []
}

/** The limits of a rail while a stage on it is tuned; null where other parts leave no room for it. */
function withRoom(
  course: Course,
  own: RailLimits,
  now: DrivenNow,
  rail: string,
  lowest_A: number,
): ((limits: RailLimits) => RailLimits) | null {
  const wanted_A = own.trip_A + (offTune - 1) * now.plate_A
  const trip_A = Math.min(wanted_A, lowest_A)
  if (trip_A < own.trip_A + 0.3 * (wanted_A - own.trip_A)) return null
  const side = course.of.desk.rails[rail]
  const supply_A = Math.min(side?.max_A ?? Infinity, own.supply_limit_A + trip_A - own.trip_A)
  const text = `${show(trip_A, 'A')}: the usual ${show(own.trip_A, 'A')} and ${now.tube} off tune at up to ${offTune} times its ${show(now.plate_A, 'A')}${trip_A < wanted_A ? ', cut to what other parts allow' : ''}`
  const reason = (limit: 'trip' | 'ceiling' | 'supply limit', value: number): Reason => ({
    limit,
    value,
    unit: 'A',
    text: `${limit} ${limit === 'supply limit' ? `${show(value, 'A')}: just above the trip` : text}`,
    source: 'common practice, no source',
  })
  return (limits) => ({
    ...limits,
    upper_A: Math.max(limits.upper_A, trip_A),
    trip_A,
    ceiling_A: trip_A,
    supply_limit_A: supply_A,
    because: [
      ...limits.because.filter(
        ({ limit }) => limit !== 'trip' && limit !== 'ceiling' && limit !== 'supply limit',
      ),
      reason('trip', trip_A),
      reason('ceiling', trip_A),
      reason('supply limit', supply_A),
    ],
  })
}
