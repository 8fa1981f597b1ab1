import { connectRecorder } from '../../../src/record/client.js'
import { median } from '../figures.js'
import { madeRun } from './made-run.js'

/**
 * The controller's side of a record, in a process of its own: hands a made run to the recorder as fast as it confirms, and
 * says how its memory grew after the first tenth, in which the engine takes what it works with: from the second to the last, medians, since
 * what the system counts as resident sways with every message on its way; and what the program itself holds beside it. Arguments: socket,
 * readings.
 */
const [socket = '', readings = '0'] = process.argv.slice(2)
/** Confirmations come about once a second, so the queue is what paces this; a controller's is a thousandth of it. */
const most = 262_144
/** Well below the queue's bound: a full one would measure dropping. */
const pause = most / 2
/** The queue is counted, which costs. */
const countEvery = 16
/** Memory is looked at with nothing waiting and no garbage: what waits for the disk is bounded, and is not growth. */
const looks = 60

const heard: { trouble: string | null } = { trouble: null }
const client = connectRecorder(
  socket,
  'controller',
  {
    recorded: () => undefined,
    trouble: (text) => {
      heard.trouble ??= text
    },
  },
  { most, silent_after_ms: 60_000 },
)
let given = 0
let batches = 0
let looked = 0
const seen: { readonly given: number; readonly rss: number; readonly held: number }[] = []
const began = performance.now()
const until = async (waiting: number): Promise<void> => {
  while (heard.trouble === null && client.unconfirmed().length > waiting)
    await new Promise((resolve) => setTimeout(resolve, 50))
  if (heard.trouble !== null) throw new Error(heard.trouble)
}
for (const batch of madeRun(Number(readings), 1)) {
  client.append(batch)
  given += batch.length
  // The socket is served between turns only.
  await new Promise((resolve) => setImmediate(resolve))
  if (++batches % countEvery === 0) await until(pause)
  if (given < ((looked + 1) * Number(readings)) / looks) continue
  looked++
  await until(0)
  globalThis.gc?.()
  const { rss, heapUsed, external } = process.memoryUsage()
  seen.push({ given, rss, held: heapUsed + external })
}
await client.close(60_000)
const tenth = Number(readings) / 10
const first = seen.filter((look) => look.given <= tenth)
const early = seen.filter((look) => look.given > tenth && look.given <= 2 * tenth)
const late = seen.filter((look) => look.given > given - tenth)
const MB = (of: 'rss' | 'held', taken: typeof seen): number => median(taken.map((look) => look[of])) / 1e6
process.send?.({
  growth_MB: MB('rss', late) - MB('rss', early),
  begun_MB: MB('rss', early) - MB('rss', first),
  held_MB: MB('held', late) - MB('held', early),
  spread_MB: (Math.max(...seen.map(({ rss }) => rss)) - Math.min(...seen.map(({ rss }) => rss))) / 1e6,
  seconds: (performance.now() - began) / 1000,
  given,
})
process.disconnect()
