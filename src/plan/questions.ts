import { type PointLimits, show } from '../limits/index.js'
import { type Course, touch_V } from './course.js'
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

/** A question; one about a reading inside takes HT down and up again around it. */
export function question(
  course: Course,
  name: string,
  stage: Question,
  after: 'comes back' | 'stays down' = 'comes back',
): void {
  const up = course.hotRails().filter((rail) => course.at(rail) > touch_V)
  const before = { ...course.volts }
  const at = course.point()
  const wants = wanted(course, stage, at)
  const timeout_s = course.timeout_s(stage.timeout_s)
  if (!stage.inside || up.length === 0) {
    course.ask(name, { text: stage.text, wants, timeout_s, inside: stage.inside, about: 'reading' })
    return
  }
  // A reading inside: HT down, clip on, hands clear, up by the same steps without their holds, read, down again, clip off.
  course.rememberClimbs(up)
  const confirm = (text: string): void => {
    for (const rail of [...up].reverse()) course.lower(name, rail, 0)
    course.ask(name, { text, wants: { kind: 'confirm' }, timeout_s, inside: true, about: 'inside' })
  }
  if (wants.kind === 'confirm') {
    confirm(`${stage.text} HT is down; measure before touching.`)
    for (const rail of up) course.climbAgain(name, rail, before[rail] ?? 0, false)
    return
  }
  const where = wants.node ?? 'the point named'
  confirm(
    `HT is down; measure before touching. Clip the meter on ${where} for: ${stage.text} Take your hands out, then confirm.`,
  )
  for (const rail of up) course.climbAgain(name, rail, before[rail] ?? 0, false)
  course.ask(name, { text: stage.text, wants, timeout_s, inside: false, about: 'reading' })
  course.rememberClimbs(up)
  confirm(`HT is down; measure before touching. Take the meter off ${where}, then confirm.`)
  if (after === 'stays down') return
  for (const rail of up) course.climbAgain(name, rail, before[rail] ?? 0, false)
}

function wanted(course: Course, stage: Question, at: PointLimits): Ask['wants'] {
  const { reading } = stage
  if (reading === null) return { kind: 'confirm' }
  const node_V = at.nodes[reading.node]
  const room = node_V === undefined ? null : Math.max(0.2 * Math.abs(node_V), 0.5)
  const low = reading.low ?? (room === null || node_V === undefined ? null : node_V - room)
  const high = reading.high ?? (room === null || node_V === undefined ? null : node_V + room)
  if (low === null || high === null || (reading.unit !== 'V' && reading.low === null)) {
    course.problems.push({
      severity: 'error',
      what: `Question "${stage.name}" wants a reading at ${reading.node}, and nothing says what it should be.`,
      remedy:
        'Give low and high in the profile; volts at a node are known of a level-3 file, and of a level-2 file where its charts name the node.',
    })
  }
  return {
    kind: 'reading',
    node: reading.node,
    rail: null,
    unit: reading.unit,
    low: low ?? 0,
    high: high ?? 0,
  }
}
