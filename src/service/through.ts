import { randomInt } from 'node:crypto'
import { drawWord } from '../cautions/index.js'
import type { Supervisor } from '../controller/index.js'
import {
  givenUp,
  type NotBegun,
  openBench,
  type Ran,
  type Start,
  superviseRun,
  VirtualHands,
} from '../session/index.js'
import type { Current } from './current.js'
import type { PreparedStart } from './desk-questions.js'
import type { LiveJob } from './live-job.js'
import type { Started } from './told.js'

export const startOf = (asked: Started, { ready, plan, state_path, lifted }: PreparedStart): Start => ({
  command: 'run',
  prepared: ready,
  plan,
  speed: asked.speed,
  seed: asked.seed ?? null,
  faults: asked.faults,
  state_path,
  ...(lifted !== null && { lifted: lifted.profile_path, whole: lifted.whole }),
})

/** The page's part in it. */
export interface Told {
  /** An alarm says so at its begin. */
  readonly told: (text: string) => void
  /** The cautions are to be read, and this word typed. */
  readonly cautions: (word: string) => void
  readonly follow: (run: Supervisor, name: string) => void
  /** Somebody watches. */
  readonly present: () => boolean
}

/** A run from its bench opened, over the cautions read and their word typed, to its end. */
export async function goThrough(
  start: Start,
  { folder, version }: Pick<PreparedStart, 'folder' | 'version'>,
  current: Current,
  { desk, env, log }: Pick<LiveJob, 'desk' | 'env' | 'log'>,
  { told, cautions, follow, present }: Told,
): Promise<Ran | NotBegun> {
  const { stops } = current
  const open = await openBench(start, stops, told)
  if (open.kind === 'not begun') return open
  try {
    if (open.bench !== null) {
      current.hands = new VirtualHands(open.bench, start.plan, start.prepared.equipment, start.speed)
      open.bench.lost((text) => {
        told(`ALARM: ${text}`)
      })
    }
    const word = drawWord({ next: () => randomInt(0, 2 ** 32) / 2 ** 32 })
    if (stops.stopped()) return givenUp
    const typed = current.waitForWord()
    cautions(word)
    if (!(await typed) || stops.stopped()) return givenUp
    return await superviseRun({
      start,
      places: open.places,
      word,
      channel: 'page',
      stops,
      folder,
      hookedUpAsIn: async () => (await desk.told('hookedUpAsIn', { plan: start.plan })).run,
      version,
      log,
      env,
      told,
      follow,
      present,
    })
  } finally {
    open.bench?.end()
  }
}
