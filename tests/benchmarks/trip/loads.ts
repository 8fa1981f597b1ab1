import { type ChildProcess, fork } from 'node:child_process'
import { mkdirSync, mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { createRunFile } from '../../../src/record/index.js'
import { madeRun } from '../review/made-run.js'
import { heard, program } from './children.js'
import type { ToWatched } from './messages.js'

/** What else the computer does while trips are measured. */
export interface Load {
  readonly name: string
  /** Resolves once it is under way. */
  start(): Promise<UnderWay>
}
export interface UnderWay {
  readonly end: () => void
  /** Nothing of it is done until it goes on again; null: it knows no rest. */
  readonly rest: (() => Promise<void>) | null
  readonly goOn: () => void
}
const nothing = (): void => undefined

const run = '20260101-000000-made'
/** Readings of the run that is reviewed, and how long it lasted. */
const readings = 1e6
const run_s = readings / 8 / 10

export const loads: readonly Load[] = [
  { name: 'idle', start: () => Promise.resolve({ end: nothing, rest: null, goOn: nothing }) },
  {
    name: '2 busy processes',
    start: () => {
      const busy = [0, 1].map(() => fork(program('busy')))
      const end = (): void => {
        kill(busy)
      }
      return Promise.resolve({ end, rest: null, goOn: nothing })
    },
  },
  ...[20, 200].map((count) => ({
    name: `${count} live viewers and a review loop`,
    start: () => watched(count),
  })),
]

async function watched(count: number): Promise<UnderWay> {
  const place = mkdtempSync(join(tmpdir(), 'slowglow-bench-'))
  const runs = join(place, 'runs')
  mkdirSync(runs)
  const writer = createRunFile(join(runs, `${run}.slowglow`))
  for (const batch of madeRun(readings, 1)) writer.append(batch)
  writer.close()
  const service = fork(program('service'), [runs])
  const { port } = await heard(service, 'serving')
  const viewers = fork(program('viewers'), [String(port), String(count), run, String(run_s)])
  await heard(viewers, 'watching')
  const both = (message: ToWatched): void => {
    for (const one of [viewers, service]) one.send(message)
  }
  return {
    end: () => {
      viewers.kill('SIGKILL')
      // Its desk ends with it.
      service.disconnect()
      rmSync(place, { recursive: true, force: true })
    },
    rest: async () => {
      const rested = [heard(viewers, 'resting'), heard(service, 'resting')]
      both({ do: 'rest' })
      await Promise.all(rested)
    },
    goOn: () => {
      both({ do: 'go on' })
    },
  }
}

function kill(all: readonly ChildProcess[]): void {
  for (const one of all) one.kill('SIGKILL')
}
