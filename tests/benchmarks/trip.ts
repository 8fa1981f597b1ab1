import { type ChildProcess, fork } from 'node:child_process'
import { type Figure, median, quantile } from './figures.js'
import { heard, program } from './trip/children.js'
import { loads } from './trip/loads.js'
import type { FromFarEnd, Side, ToFarEnd, ToRunner, ToSide, ToWholeFarEnd } from './trip/messages.js'

/**
 * The software's share of a trip: from the offending reply on a terminal line to OFF on it, as the far end sees both, against
 * the least loop that can be written with the same library; turn about, under the same load.
 */
export async function tripFigures(trips: number, runs: number): Promise<Figure[]> {
  const figures: Figure[] = runs > 0 ? await wholeRuns(runs) : []
  if (trips === 0) return figures
  const idle = new Map<string, Us>()
  for (const load of loads)
    for (const [supplies, channels] of [
      [1, 1],
      [2, 4],
    ] as const) {
      const on = supplies === 1 ? 'one supply of one channel' : `${supplies} supplies of ${channels} channels`
      const where = `${on}, ${load.name}`
      const end = await load.start()
      let us: Us
      try {
        us = (await measured(supplies, channels, { do: 'trips', trips }, 'trips')).us
      } finally {
        end()
      }
      figures.push(...shares(where, us))
      const before = idle.get(on)
      if (before !== undefined && load.name.includes('viewers')) figures.push(...unchanged(where, us, before))
      if (load.name !== 'idle') continue
      idle.set(on, us)
      const polls = await measured(supplies, channels, { do: 'polls', for_ms: 500, turns: 8 }, 'polls')
      figures.push(rates(where, polls.rate))
    }
  return figures
}

type Us = Readonly<Record<Side, readonly number[]>>

async function measured<K extends 'trips' | 'polls'>(
  supplies: number,
  channels: number,
  task: Extract<ToFarEnd, { do: K }>,
  kind: K,
): Promise<Extract<FromFarEnd, { kind: K }>> {
  const children: ChildProcess[] = []
  try {
    const far = fork(program('far-end'), [String(supplies), String(channels)])
    children.push(far)
    const lines = await heard(far, 'lines')
    for (const side of ['controller', 'bare'] as const) {
      const one = fork(program(side))
      children.push(one)
      one.send({ do: kind, lines: lines[side] } satisfies ToSide)
    }
    const result = heard(far, kind)
    far.send(task)
    return await result
  } finally {
    for (const child of children) child.disconnect()
  }
}

/**
 * Whole runs of a small set at speed, each from its first question to outputs confirmed off, tripped in its last hold; after
 * each the yardstick once. So few hold no 99.9th percentile: their slowest is shown and judged by nothing.
 */
async function wholeRuns(runs: number): Promise<Figure[]> {
  const children: ChildProcess[] = []
  try {
    const far = fork(program('whole-far-end'))
    children.push(far)
    const { controller, bare } = await heard(far, 'lines')
    const runner = fork(program('whole-run'))
    const yardstick = fork(program('bare'))
    children.push(runner, yardstick)
    yardstick.send({ do: 'trips', lines: bare } satisfies ToSide)
    let trips = 0
    let others = 0
    while (trips < runs) {
      const standing = heard(runner, 'standing')
      const over = heard(runner, 'over')
      // Where the run ends before, nobody waits for it any more.
      standing.catch(() => undefined)
      runner.send({ paths: controller.paths } satisfies ToRunner)
      const first = await Promise.race([standing, over])
      const tripped = heard(far, 'tripped')
      tripped.catch(() => undefined)
      if (first.kind === 'standing') far.send({ do: 'offend' } satisfies ToWholeFarEnd)
      const { outcome, code, outputs_off } = await over
      if (outcome === 'tripped' && code === 'over-ceiling' && outputs_off === 'confirmed') {
        await tripped
        trips += 1
        continue
      }
      // A machine that stood still for long is a reason to go off, too: told, and not counted.
      far.send({ do: 'rest' } satisfies ToWholeFarEnd)
      others += 1
      if (others > runs) throw new Error(`More runs end otherwise than by the trip: ${outcome} by ${code}.`)
    }
    const result = heard(far, 'trips')
    far.send({ do: 'tell' } satisfies ToWholeFarEnd)
    const { us } = await result
    const [middle, slowest] = shares(
      `whole runs of a small set${others === 0 ? '' : ` (${others} more ended otherwise)`}`,
      us,
    )
    return middle === undefined || slowest === undefined
      ? []
      : [middle, { ...slowest, what: slowest.what.replace('99.9th percentile', 'slowest'), met: null }]
  } finally {
    for (const child of children) child.disconnect()
  }
}

function shares(where: string, us: Readonly<Record<Side, readonly number[]>>): Figure[] {
  const figure = (name: string, part: number, most: number): Figure => {
    const ours = quantile(us.controller, part)
    const bare = quantile(us.bare, part)
    return {
      what: `reply to OFF, ${name} of ${us.controller.length} trips, ${where}`,
      value: ours,
      unit: 'µs',
      yardstick: `bare loop, same line, turn about: ${bare.toFixed(0)} µs`,
      ratio: ours / bare,
      target: `<= ${most} times`,
      met: ours / bare <= most,
    }
  }
  return [figure('median', 0.5, 1.3), figure('99.9th percentile', 0.999, 1.5)]
}

/** The same without the load, in this run; the bare loop beside it tells what of that any program would lose. */
function unchanged(where: string, us: Us, idle: Us): Figure[] {
  const figure = (name: string, part: number, most: number): Figure => {
    const [ours, before] = [quantile(us.controller, part), quantile(idle.controller, part)]
    const bare = quantile(us.bare, part) / quantile(idle.bare, part)
    return {
      what: `reply to OFF, ${name} against idle, ${where}`,
      value: ours,
      unit: 'µs',
      yardstick: `idle: ${before.toFixed(0)} µs; the bare loop took ${bare.toFixed(2)} times as long as idle`,
      ratio: ours / before,
      target: `<= ${most} times`,
      met: ours / before <= most,
    }
  }
  return [figure('median', 0.5, 1.1), figure('99th percentile', 0.99, 1.3)]
}

function rates(where: string, rate: Readonly<Record<Side, readonly number[]>>): Figure {
  const ours = median(rate.controller)
  const bare = median(rate.bare)
  return {
    what: `readings of a rail, ${where}`,
    value: ours,
    unit: '/s',
    yardstick: `bare loop, same line, turn about: ${bare.toFixed(0)} /s`,
    ratio: ours / bare,
    target: '>= 0.8 times',
    met: ours / bare >= 0.8,
  }
}
