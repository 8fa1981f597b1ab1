import { type ChildProcess, fork } from 'node:child_process'
import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { startRecorder } from '../../src/record/index.js'
import { type Figure, median, quantile } from './figures.js'
import { heard, program } from './trip/children.js'
import { loads } from './trip/loads.js'
import type { Side, ToFarEnd, ToRunner, ToSide, ToWholeFarEnd } from './trip/messages.js'

/**
 * The software's share of a trip: from the offending reply on a terminal line to OFF on it, as the far end sees both, against
 * the least loop that can be written with the same library; turn about, under the same load.
 */
export async function tripFigures(trips: number, runs: number): Promise<Figure[]> {
  const figures: Figure[] = runs > 0 ? await wholeRuns(runs) : []
  if (trips === 0) return figures
  for (const load of loads)
    for (const [supplies, channels] of [
      [1, 1],
      [2, 4],
    ] as const) {
      const on = supplies === 1 ? 'one supply of one channel' : `${supplies} supplies of ${channels} channels`
      const where = `${on}, ${load.name}`
      const underWay = await load.start()
      try {
        await withSides(supplies, channels, 'trips', async (far) => {
          if (underWay.rest === null) {
            figures.push(...shares(where, await tripsOf(far, trips)))
            return
          }
          const { loaded, resting } = await turnAbout(far, trips, underWay.rest, underWay.goOn)
          figures.push(...shares(where, loaded), ...unchanged(where, loaded, resting))
        })
      } finally {
        underWay.end()
      }
      if (load.name !== 'idle') continue
      await withSides(supplies, channels, 'polls', async (far) => {
        const result = heard(far, 'polls')
        far.send({ do: 'polls', for_ms: 500, turns: 8 } satisfies ToFarEnd)
        figures.push(rates(where, (await result).rate))
      })
    }
  return figures
}

type Us = Readonly<Record<Side, readonly number[]>>

async function tripsOf(far: ChildProcess, trips: number): Promise<Us> {
  const result = heard(far, 'trips')
  far.send({ do: 'trips', trips } satisfies ToFarEnd)
  return (await result).us
}

/** So many times the load rests and goes on: what else the computer does in these minutes meets both alike. */
const turns = 20

/** As many trips while the load rests as while it goes on, by the same programs on the same lines. */
async function turnAbout(
  far: ChildProcess,
  trips: number,
  rest: () => Promise<void>,
  goOn: () => void,
): Promise<{ readonly loaded: Us; readonly resting: Us }> {
  const all = {
    loaded: { controller: [] as number[], bare: [] as number[] },
    resting: { controller: [] as number[], bare: [] as number[] },
  }
  const each = Math.ceil(trips / turns)
  const turn = async (which: keyof typeof all): Promise<void> => {
    const us = await tripsOf(far, each)
    for (const side of ['controller', 'bare'] as const) all[which][side].push(...us[side])
  }
  for (let i = 0; i < turns; i++) {
    await turn('loaded')
    await rest()
    await turn('resting')
    goOn()
  }
  return all
}

/** The two programs on lines of their own with the far end, and a recorder; let go of afterwards. */
async function withSides(
  supplies: number,
  channels: number,
  kind: 'trips' | 'polls',
  work: (far: ChildProcess) => Promise<void>,
): Promise<void> {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-bench-'))
  const recorder = await startRecorder({ file: join(folder, 'run.slowglow'), linger_s: 1 })
  if ('trouble' in recorder) throw new Error(recorder.trouble)
  const children: ChildProcess[] = []
  try {
    const far = fork(program('far-end'), [String(supplies), String(channels)])
    children.push(far)
    const lines = await heard(far, 'lines')
    for (const side of ['controller', 'bare'] as const) {
      const one = fork(program(side))
      children.push(one)
      const told = side === 'controller' && { recorder: recorder.socket }
      one.send({ do: kind, lines: lines[side], ...told } satisfies ToSide)
    }
    await work(far)
  } finally {
    for (const child of children) child.disconnect()
    await recorder.end()
    rmSync(folder, { recursive: true, force: true })
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

/** The same while the load rests, turn about in this run; the bare loop beside it tells what of that any program would lose. */
function unchanged(where: string, us: Us, resting: Us): Figure[] {
  const figure = (name: string, part: number, most: number): Figure => {
    const [ours, before] = [quantile(us.controller, part), quantile(resting.controller, part)]
    const bare = quantile(us.bare, part) / quantile(resting.bare, part)
    return {
      what: `reply to OFF, ${name} against the same without, ${where}`,
      value: ours,
      unit: 'µs',
      yardstick: `${resting.controller.length} trips while the load rests, turn about: ${before.toFixed(0)} µs; the bare loop takes ${bare.toFixed(2)} times as long with it. ${stand}`,
      ratio: ours / before,
      target: `<= ${most} times`,
      met: ours / before <= most,
    }
  }
  return [figure('median', 0.5, 1.1), figure('99th percentile', 0.99, 1.3)]
}
const stand =
  'Viewers and reviewer stand for other computers: they have the lowest priority here and, as the service does beside a run, keep to one of the processors; the service and what answers reviews have their own priority'

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
