import { type ChildProcess, fork } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { openRunFile, startRecorder } from '../../src/record/index.js'
import { slowDisk } from '../helpers/slow-disk.js'
import { type Figure, quantile } from './figures.js'
import { heard, program } from './trip/children.js'
import type { ToFarEnd, ToldAll, ToSide } from './trip/messages.js'

/** How long every fsync of the run file stands, and how long it answers between, turn about. */
const stall_ms = 5000
const turns = 6
const tripsAtATime = 50

/**
 * The trip of a controller that tells everything to a recorder process, while the disk of the record stands for 5 s and while it
 * answers: turn about in one run. And whether all that was told is in the file afterwards.
 */
export async function slowDiskFigures(): Promise<Figure[]> {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-bench-'))
  const [gate, held, file] = [join(folder, 'gate'), join(folder, 'held'), join(folder, 'run.slowglow')]
  const children: ChildProcess[] = []
  try {
    const recorder = await onSlowDisk(slowDisk(gate, held), () => startRecorder({ file, linger_s: 1 }))
    if ('trouble' in recorder) throw new Error(recorder.trouble)
    const far = fork(program('far-end'), ['1', '1'])
    children.push(far)
    const lines = await heard(far, 'lines')
    const controller = fork(program('controller'))
    const bare = fork(program('bare'))
    children.push(controller, bare)
    controller.send({ do: 'trips', lines: lines.controller, recorder: recorder.socket } satisfies ToSide)
    bare.send({ do: 'trips', lines: lines.bare } satisfies ToSide)
    const us = { standing: [] as number[], answering: [] as number[] }
    const during = async (which: keyof typeof us): Promise<void> => {
      const from = performance.now()
      while (performance.now() - from < stall_ms) {
        const result = heard(far, 'trips')
        far.send({ do: 'trips', trips: tripsAtATime } satisfies ToFarEnd)
        us[which].push(...(await result).us.controller)
      }
    }
    for (let turn = 0; turn < turns; turn++) {
      await during('answering')
      writeFileSync(gate, '')
      await during('standing')
      rmSync(gate)
    }
    const told = await allTold(controller)
    if (told.trouble !== null) throw new Error(told.trouble)
    await recorder.end()
    return [
      figure('median', us, 0.5, 1.1),
      figure('99th percentile', us, 0.99, 1.3),
      kept(told.entries, entriesIn(file)),
    ]
  } finally {
    rmSync(gate, { force: true })
    for (const child of children) child.disconnect()
    rmSync(folder, { recursive: true, force: true })
  }
}

async function onSlowDisk<T>(options: string, start: () => Promise<T>): Promise<T> {
  process.env['NODE_OPTIONS'] = options
  try {
    return await start()
  } finally {
    delete process.env['NODE_OPTIONS']
  }
}

function allTold(controller: ChildProcess): Promise<ToldAll> {
  return new Promise((resolve) => {
    controller.on('message', (message: ToldAll | { readonly kind: 'view' }) => {
      if (message.kind === 'told') resolve(message)
    })
    controller.send({ do: 'close' } satisfies ToSide)
  })
}

function entriesIn(file: string): number {
  const opened = openRunFile(file)
  if ('trouble' in opened) throw new Error(opened.trouble)
  let count = 0
  // The recorder's own word on how it ended was told by nobody.
  for (const entry of opened.reader.entries())
    if (entry.entry !== 'event' || entry.event.from !== 'recorder') count++
  opened.reader.close()
  return count
}

function figure(
  name: string,
  us: Readonly<Record<'standing' | 'answering', readonly number[]>>,
  part: number,
  most: number,
): Figure {
  const [standing, answering] = [quantile(us.standing, part), quantile(us.answering, part)]
  return {
    what: `reply to OFF, ${name} of ${us.standing.length} trips, while every fsync of the record stands for ${stall_ms / 1000} s`,
    value: standing,
    unit: 'µs',
    yardstick: `${us.answering.length} trips of the same controller while the disk answers, turn about: ${answering.toFixed(0)} µs`,
    ratio: standing / answering,
    target: `<= ${most} times`,
    met: standing / answering <= most,
  }
}

function kept(told: number, found: number): Figure {
  return {
    what: `entries in the record after ${turns} such stalls`,
    value: found,
    unit: 'entries',
    yardstick: `${told} told`,
    ratio: found / told,
    target: 'every one',
    met: found === told,
  }
}
