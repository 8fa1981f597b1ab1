import { fork } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, statSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import {
  compareRuns,
  createRunFile,
  openRunFile,
  type RunEntry,
  type RunReader,
  startRecorder,
  storyOf,
} from '../../src/record/index.js'
import { againstLoop, arithmetic_ms, type Figure, median, quantile, times_ms } from './figures.js'
import { madeRun } from './review/made-run.js'

/** Readings of the run that the targets speak of; the others show growth. */
const judged = 10e6
const width = 1000

/**
 * A record of 1, 10 and (where asked for) 50 million readings: written, looked at whole and in part, told, checked and laid
 * beside another. The file is in the system's memory, as that of a run just made; what else a first look costs has a line of its own.
 */
export async function reviewFigures(longest: boolean): Promise<Figure[]> {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-bench-'))
  try {
    const figures: Figure[] = []
    for (const readings of longest ? [1e6, judged, 50e6] : [1e6, judged]) {
      const file = join(folder, `${readings}.slowglow`)
      figures.push(...written(file, readings), ...reviewed(file, readings))
      rmSync(file)
    }
    figures.push(...asLive(join(folder, 'live.slowglow'), 1e6))
    figures.push(...(await clientGrowth(join(folder, 'client.slowglow'), judged)))
    return figures
  } finally {
    rmSync(folder, { recursive: true, force: true })
  }
}

const named = (readings: number): string => `${readings / 1e6} million readings`

function written(file: string, about: number): Figure[] {
  let spent_ms = 0
  let processor_us = 0
  let readings = 0
  const writer = createRunFile(file)
  const timed = (work: () => void): void => {
    const [from, cpu] = [performance.now(), process.cpuUsage()]
    work()
    spent_ms += performance.now() - from
    const { user, system } = process.cpuUsage(cpu)
    processor_us += user + system
  }
  for (const batch of madeRun(about, 1)) {
    for (const { entry } of batch) if (entry === 'reading') readings++
    timed(() => {
      writer.append(batch)
    })
  }
  timed(() => {
    writer.close()
  })
  const per_s = (1000 * readings) / spent_ms
  const bytes = statSync(file).size / readings
  const isJudged = about === judged
  return [
    {
      what: `${named(about)}: recorded, with ticks, events, seal and every fsync`,
      value: per_s / 1e6,
      unit: 'million readings/s',
      yardstick: `processor time alone ${(readings / processor_us).toFixed(2)} million readings/s; ${againstLoop()}`,
      ratio: null,
      target: isJudged ? '>= 1 million readings/s' : 'shown',
      met: isJudged ? per_s >= 1e6 : null,
    },
    {
      what: `${named(about)}: on disk, everything in the file counted`,
      value: bytes,
      unit: 'bytes a reading',
      yardstick: 'three doubles a reading: 24 bytes',
      ratio: 24 / bytes,
      target: isJudged ? '<= 5' : 'shown',
      met: isJudged ? bytes <= 5 : null,
    },
  ]
}

/**
 * The same as a live run is recorded, a commit with its sync for each second of the run: readings come to lie in the tail first and
 * are taken out again when their block is full, which a run written in great batches never does. The clock of this process is the
 * run's meanwhile, so that there is a link of the seal for every ten seconds of it as well.
 */
function asLive(file: string, about: number): Figure[] {
  const writer = createRunFile(file)
  let [readings, second, syncs] = [0, 0, 0]
  let waiting: RunEntry[] = []
  const each_ms: number[] = []
  const now = performance.now()
  const commit = (): void => {
    performance.now = () => now + 1000 * second
    const from = process.hrtime.bigint()
    writer.append(waiting)
    writer.flush()
    each_ms.push(Number(process.hrtime.bigint() - from) / 1e6)
    syncs++
    waiting = []
  }
  for (const batch of madeRun(about, 1))
    for (const entry of batch) {
      if (entry.entry === 'reading') readings++
      const at = entry.entry === 'tick' ? Math.floor(entry.t_us / 1e6) : second
      if (at > second) {
        second = at
        commit()
      }
      waiting.push(entry)
    }
  second++
  commit()
  writer.close()
  Reflect.deleteProperty(performance, 'now')
  const bytes = statSync(file).size / readings
  rmSync(file)
  const yardstick = `${syncs} commits, ${(readings / syncs).toFixed(0)} readings each`
  return [
    {
      what: `${named(about)}, committed and synced once for each second of the run, as live: on disk`,
      value: bytes,
      unit: 'bytes a reading',
      yardstick,
      ratio: 24 / bytes,
      target: '<= 5',
      met: bytes <= 5,
    },
    {
      what: `${named(about)}, as live: one such commit, median`,
      value: median(each_ms),
      unit: 'ms',
      yardstick: `${yardstick}; 99th of 100 ${quantile(each_ms, 0.99).toFixed(1)} ms, longest ${Math.max(...each_ms).toFixed(0)} ms; ${againstLoop()}`,
      ratio: median(each_ms) / arithmetic_ms(),
      target: 'shown',
      met: null,
    },
  ]
}

function reviewed(file: string, readings: number): Figure[] {
  const other = `${file}.other`
  // Another run of the same plan, with readings of its own: a copy would never differ in a step.
  const writer = createRunFile(other, { fsync: false })
  for (const batch of madeRun(readings, 2)) writer.append(batch)
  writer.close()
  try {
    return withReader(file, (reader) =>
      withReader(other, (second) => {
        const raw_ms = median(times_ms(3, () => void readFileSync(file)))
        const streams = reader.streams().map(({ id }) => id)
        const { from_us, to_us } = reader.span() ?? { from_us: 0, to_us: 0 }
        const overview = (run: RunReader, from: number, to: number): void => {
          for (const id of streams) run.overview(id, width, from, to)
        }
        let zooms = 0
        /** Elsewhere in the run each time, so that no look finds what the one before it left in memory. */
        const zoomed = (long_us: number) => (): void => {
          const from = from_us + ((zooms++ * 0.618) % 1) * (to_us - from_us - long_us)
          overview(reader, from, from + long_us)
        }
        const look = (what: string, rounds: number, work: () => void, most_ms: number | null): Figure => {
          const cpu = process.cpuUsage()
          const ms = median(times_ms(rounds, work))
          const { user, system } = process.cpuUsage(cpu)
          // One round more than is counted warms up.
          const processor_ms = (user + system) / 1000 / (rounds + 1)
          const target = readings === judged ? most_ms : null
          return {
            what: `${named(readings)}: ${what}`,
            value: ms,
            unit: 'ms',
            yardstick: `processor time of one look ${processor_ms.toFixed(1)} ms; reading the raw file ${raw_ms.toFixed(1)} ms; ${againstLoop()}`,
            ratio: ms / arithmetic_ms(),
            target: target === null ? 'shown' : `< ${target} ms`,
            met: target === null ? null : ms < target,
          }
        }
        return [
          look(
            `overview of all rails, ${streams.length} traces of ${width} columns`,
            5,
            () => {
              overview(reader, from_us, to_us)
            },
            150,
          ),
          look(
            'the same, the file opened for it',
            5,
            () => {
              withReader(file, (anew) => {
                overview(anew, from_us, to_us)
              })
            },
            150,
          ),
          look(
            `zoom to an hour of all rails, elsewhere each time, ${streams.length} traces`,
            5,
            zoomed(3600e6),
            50,
          ),
          look(
            `zoom to a minute of all rails, elsewhere each time, ${streams.length} traces`,
            5,
            zoomed(60e6),
            50,
          ),
          look(
            'the story as `show` tells it, seal apart',
            3,
            () => void storyOf(reader, { seal: false }),
            null,
          ),
          look('the check of the seal', 1, () => void reader.seal(), null),
          look(
            'compare with another run as long, both seals checked',
            3,
            () => void compareRuns(storyOf(reader), storyOf(second)),
            3000,
          ),
        ]
      }),
    )
  } finally {
    rmSync(other)
  }
}

function withReader<T>(file: string, work: (reader: RunReader) => T): T {
  const opened = openRunFile(file)
  if ('trouble' in opened) throw new Error(opened.trouble)
  try {
    return work(opened.reader)
  } finally {
    opened.reader.close()
  }
}

interface Grown {
  readonly growth_MB: number
  readonly begun_MB: number
  readonly held_MB: number
  readonly spread_MB: number
  readonly seconds: number
  readonly given: number
}

async function clientGrowth(file: string, readings: number): Promise<Figure[]> {
  const recorder = await startRecorder({ file, linger_s: 5 })
  if ('trouble' in recorder) throw new Error(recorder.trouble)
  const child = fork(join(import.meta.dirname, 'review', 'client.js'), [recorder.socket, String(readings)], {
    execArgv: ['--expose-gc'],
  })
  const said = await new Promise<Grown>((resolve, reject) => {
    child.once('message', (message) => {
      resolve(message as Grown)
    })
    child.once('exit', () => {
      reject(new Error('The client ended without its figures.'))
    })
  })
  return [
    {
      what: `controller's side of ${named(readings)} handed to the recorder process: growth of resident memory after the first tenth, from the second to the last`,
      value: said.growth_MB,
      unit: 'MB',
      yardstick: `from the first tenth to the second, as the engine takes what it works with, ${said.begun_MB.toFixed(1)} MB; of what the program holds ${said.held_MB.toFixed(1)} MB, least to most resident at any look ${said.spread_MB.toFixed(0)} MB; ${said.given} entries in ${said.seconds.toFixed(0)} s, ${(said.given / said.seconds / 1000).toFixed(0)} thousand a second through the socket`,
      ratio: null,
      target: '<= 10 MB',
      met: said.growth_MB <= 10,
    },
  ]
}
