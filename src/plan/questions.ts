import { type PointLimits, show } from '../limits/index.js'
import type { Course } from './course.js'
import { comeBack, downToReach, downWords } from './reach-in.js'
import { type FilledStage, isHot } from './stages.js'
import type { Ask } from './types.js'

type Question = Extract<FilledStage, { do: 'ask' }>

/**
 * A tube that may pass its bare rating inside every trip: its cathode is read once, after the last step, only where the run
 * found it so. Each reading starts from where the profile ends, since the one before it may have been passed over.
 */
export function cathodeReadings(course: Course): void {
  const top = course.steps.findLast(({ do: what, rail }) => {
    return what === 'raise' && rail !== null && isHot(course.of.equipment, rail)
  })
  const end = course.mark()
  if (top === undefined || top.mode !== course.mode) return
  for (const { part, cathode } of Object.values(top.limits).flatMap(({ ratings }) => ratings ?? [])) {
    if (cathode === null) continue
    const from = course.steps.length
    course.backTo(end)
    const point = course.of.equipment.test_points[cathode.node]
    question(
      course,
      `cathode reading of ${part}`,
      {
        do: 'ask',
        name: `cathode reading of ${part}`,
        text: `${part} reads over its rating. Read its cathode, ${cathode.node}${point === undefined ? '' : ` (${point})`}, against chassis: about ${show(cathode.V, 'V')} is expected, ${show(cathode.rated_V, 'V')} is its rating, ${show(cathode.most_V, 'V')} the most allowed.`,
        reading: { node: cathode.node, unit: 'V', low: 0.2 * cathode.V, high: cathode.most_V },
        inside: true,
        timeout_s: null,
        added: null,
      },
      'stays down',
    )
    const only_if = { over_rating: part, rated_V: cathode.rated_V }
    for (const [at, step] of course.steps.entries()) if (at >= from) course.steps[at] = { ...step, only_if }
  }
}

/** A question; one about a reading inside takes HT, and whatever else may not be touched, down and up again around it. */
export function question(
  course: Course,
  name: string,
  stage: Question,
  after: 'comes back' | 'stays down' = 'comes back',
): void {
  const up = downToReach(course)
  const before = { ...course.volts }
  const at = course.point()
  const wants = wanted(course, stage, at)
  const timeout_s = course.timeout_s(stage.timeout_s)
  const turn = turned(course, stage)
  if (turn === null) return
  const figure = stage.watch === undefined ? {} : { figure: stage.watch }
  // Whatever the profile says: no probe goes on a node while anything stands above the touch limit.
  const inside = stage.inside || (stage.reading !== null && stage.reading.panel !== true)
  if (!inside || up.length === 0) {
    const out = up.length === 0 ? '' : ' From outside the case: no hand, probe, clip or tool goes in.'
    course.ask(name, {
      text: `${turn}${stage.text}${reason(wants)}${out}`,
      wants,
      ...figure,
      timeout_s,
      inside: stage.inside,
      about: 'reading',
    })
    return
  }
  const down = downWords(course, up)
  // A reading inside: HT down, clip on, hands clear, up by the same steps without their holds, read, down again, clip off.
  course.rememberClimbs(up)
  const confirm = (text: string): void => {
    for (const rail of [...up].reverse()) course.lower(name, rail, 0)
    course.ask(name, { text, wants: { kind: 'confirm' }, timeout_s, inside: true, about: 'inside' })
  }
  if (wants.kind === 'confirm') {
    confirm(`${stage.text} ${down}`)
    comeBack(course, name, up, before, false)
    return
  }
  const where = wants.node ?? 'the point named'
  confirm(`${down} Clip the meter on ${where} for: ${stage.text} Take your hands out, then confirm.`)
  comeBack(course, name, up, before, false)
  course.ask(name, {
    text: `${stage.text}${reason(wants)} The meter is clipped on: no hand, probe, clip or tool goes in.`,
    wants,
    ...figure,
    timeout_s,
    inside: false,
    about: 'reading',
  })
  course.rememberClimbs(up)
  confirm(`${down} Take the meter off ${where}, then confirm.`)
  if (after === 'stays down') return
  comeBack(course, name, up, before, false)
}

/** Insulated controls outside the case are turned at voltage, by one hand, and no other; null where that was refused. */
function turned(course: Course, stage: Question): string | null {
  const { turn = [] } = stage
  const others = turn.filter((control) => !course.of.equipment.panel_controls.includes(control))
  if (others.length > 0 || (turn.length > 0 && stage.inside)) {
    course.problems.push({
      severity: 'error',
      what: `Question "${stage.name}" has ${(others.length > 0 ? others : turn).join(', ')} turned ${others.length > 0 ? 'and the set file does not name it among its panel_controls' : 'and hands inside at once'}.`,
      remedy:
        others.length > 0
          ? 'Only insulated controls outside the case are asked for at voltage: add it to panel_controls if it is one.'
          : 'Make two questions of it.',
    })
    return null
  }
  const live = stage.watch === undefined ? '' : `, watching ${stage.watch}`
  return turn.length === 0 ? '' : `One hand, insulated tools only, on ${turn.join(', then ')}${live}. `
}

function reason(wants: Ask['wants']): string {
  if (wants.kind === 'confirm' || wants.because === undefined) return ''
  return ` ${show(wants.low, wants.unit)} to ${show(wants.high, wants.unit)} is right: ${wants.because}.`
}

/** The voltmeter that a person holds: the bench's own, else a modern one (common practice, no source). */
function handMeter({ meters }: Course['of']['bench']): { readonly name: string; readonly ohm: number } {
  const own = Object.entries(meters).find(
    ([, { line, on, measures }]) => line === null && on === null && measures === 'V',
  )
  return own === undefined ? { name: 'a meter of 10 MΩ', ohm: 10e6 } : { name: own[0], ohm: own[1].ohm }
}

/** A healthy set's node may be so far from nominal (our choice). */
const nodeSpread = { part: 0.2, least_V: 0.5 } as const

function wanted(course: Course, stage: Question, at: PointLimits): Ask['wants'] {
  const { reading } = stage
  if (reading === null) return { kind: 'confirm' }
  const node_V = at.nodes[reading.node]
  const meter = reading.unit === 'V' && reading.panel !== true ? handMeter(course.of.bench) : null
  // Charts tell what their own meter read: that is counted already.
  const loaded_V = meter === null || node_V === undefined ? null : course.readWith(reading.node, meter)
  const shown_V = loaded_V ?? node_V
  const room =
    shown_V === undefined ? null : Math.max(nodeSpread.part * Math.abs(shown_V), nodeSpread.least_V)
  const low = reading.low ?? (room === null || shown_V === undefined ? null : shown_V - room)
  const high = reading.high ?? (room === null || shown_V === undefined ? null : shown_V + room)
  if (low === null || high === null || (reading.unit !== 'V' && reading.low === null)) {
    course.problems.push({
      severity: 'error',
      what: `Question "${stage.name}" wants a reading at ${reading.node}, and nothing says what it should be.`,
      remedy:
        'Give low and high in the profile; volts at a node are known of a level-3 file, and of a level-2 file where its charts name the node.',
    })
  }
  const computed = reading.low === null || reading.high === null
  return {
    kind: 'reading',
    node: reading.node,
    rail: null,
    unit: reading.unit,
    low: low ?? 0,
    high: high ?? 0,
    ...(meter !== null && { meter }),
    ...(computed && node_V !== undefined && { because: becauseOf(node_V, loaded_V, meter) }),
  }
}

function becauseOf(
  node_V: number,
  loaded_V: number | null,
  meter: { name: string; ohm: number } | null,
): string {
  const within = `a fifth either way (slowglow's own choice)`
  if (loaded_V === null || meter === null) return `${show(node_V, 'V')} is expected there, ${within}`
  const takes = Math.abs(node_V - loaded_V)
  const loads =
    takes < 0.005 * Math.abs(node_V)
      ? `which ${meter.name} (${show(meter.ohm, 'Ω')}) does not load`
      : `and ${show(loaded_V, 'V')} as ${meter.name} (${show(meter.ohm, 'Ω')}) loads it`
  return `the set's circuit with nominal parts makes ${show(node_V, 'V')} there, ${loads}; ${within}`
}
