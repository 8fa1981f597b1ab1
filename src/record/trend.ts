import { listRuns, unlistedIn } from './find.js'
import type { FormedStory } from './formed.js'
import { readRun } from './look.js'
import { type RailStory, type Story, storyOf } from './story.js'
import type { Known } from './types.js'
import { allowedForVolts } from './volts-apart.js'

/** A set over its runs: what each rail drew at each of its volts, in the order of time, with the notes between. */
export interface Trend {
  readonly equipment: string
  readonly runs: readonly TrendRun[]
  readonly series: readonly Series[]
  /** What each run tells of each capacitor; of those formed in circuit, nothing, and why. */
  readonly capacitors: readonly CapacitorsIn[]
  /** Files of the folder that could not be read, and why: a trend that leaves them out must say so. */
  readonly unread: readonly { readonly file: string; readonly trouble: string }[]
}
export interface TrendRun {
  readonly run: string
  readonly file: string
  readonly started: string | null
  readonly profile: string | null
  readonly command: Known['command'] | null
  readonly outcome: Story['outcome']
  readonly notes: Story['notes']
}
/** What was done to a set between its runs, as its book has it. */
export interface Work {
  readonly at: string
  readonly by: string
  readonly what: 'repair' | 'replaced'
  readonly text: string
}
/** One thing in the life of a set, in the order of time: a run, a note written to one, work between. */
export interface TrendLine {
  readonly at: string | null
  readonly what: 'run' | 'note' | Work['what']
  readonly by: string | null
  readonly text: string
  /** Of a run, or of the one that the note is to. */
  readonly run: string | null
}
export interface SetTrend extends Trend {
  readonly life: readonly TrendLine[]
  /** Why no repairs are told; null where the set's book was read, or it has none. */
  readonly no_book: string | null
}

/** Runs, their notes and the work between, by time; a run whose time is not known stands first. */
export function trendLines({ runs }: Pick<Trend, 'runs'>, work: readonly Work[]): TrendLine[] {
  const lines = [
    ...runs.flatMap(({ run, started, profile, outcome, notes }): TrendLine[] => [
      { at: started, what: 'run', by: null, text: `${profile ?? 'profile not known'}: ${outcome}`, run },
      ...notes.map(({ written, by, text }): TrendLine => ({ at: written, what: 'note', by, text, run })),
    ]),
    ...work.map((each): TrendLine => ({ ...each, run: null })),
  ]
  return lines.sort((a, b) => (a.at ?? '').localeCompare(b.at ?? ''))
}

export interface CapacitorsIn {
  readonly run: string
  readonly reformed: boolean
  /** By part; where nothing is judged of any, why. */
  readonly leakage:
    | Readonly<
        Record<
          string,
          {
            readonly amps: number | null
            readonly volts: number | null
            readonly verdict: FormedStory['verdict']
          }
        >
      >
    | 'not judged'
  readonly capacitance: Readonly<Record<string, number | null>> | 'not judged'
  readonly why: string
}
export interface Series {
  readonly stage: string
  readonly mode: string
  readonly rail: string
  readonly at_V: number
  /** One a run. */
  readonly points: readonly Point[]
  /**
   * From the first to the last measured point, A; null with fewer than two. `beyond_error`: more than both measurements
   * together may be wrong by, and than the difference of their volts explains.
   */
  readonly change: { readonly amps: number; readonly error_A: number; readonly beyond_error: boolean } | null
}
export interface Point extends Pick<RailStory, 'volts' | 'amps' | 'expected_A' | 'verdict' | 'error_A'> {
  readonly run: string
}

/** Runs of `folder` whose set has this name. `rehearsals`: those too; else only runs. */
export function trendOf(folder: string, equipment: string, rehearsals: boolean): Trend {
  const runs: TrendRun[] = []
  const unread: { file: string; trouble: string }[] = unlistedIn(folder)
  const capacitors: CapacitorsIn[] = []
  const series = new Map<
    string,
    { -readonly [K in keyof Omit<Series, 'points'>]: Series[K] } & { points: Point[] }
  >()
  for (const line of listRuns(folder)) {
    if (line.trouble !== null) {
      unread.push({ file: line.file, trouble: line.trouble })
      continue
    }
    if (line.equipment !== equipment || (!rehearsals && line.command !== 'run')) continue
    const read = readRun(line.file, (reader) => storyOf(reader, { seal: false }))
    if ('trouble' in read) {
      unread.push({ file: line.file, trouble: read.trouble })
      continue
    }
    const story = read.value
    if (story.damage.length > 0) {
      unread.push({ file: line.file, trouble: `parts of it cannot be read: ${story.damage.join('; ')}` })
      continue
    }
    const { run, file, profile, outcome, notes, known } = story
    runs.push({
      run,
      file,
      profile,
      outcome,
      notes,
      started: known?.started ?? null,
      command: known?.command ?? null,
    })
    const reformed = story.kind === 'reform'
    const why = reformed
      ? 'formed in circuit, where other paths draw through the same rail; all its capacitors together leak no more than the rail drew at the end of each hold'
      : 'this run was no reform'
    capacitors.push({ run, reformed, ...judgedIn(story.electrolytics, why) })
    for (const step of story.steps)
      for (const rail of step.rails) {
        // A rail is followed in the step that moves it; where it only stands by it says the same again.
        // On its way down, or where the run ended before it was there, it is not measured at any volts.
        if (step.rail !== rail.rail || rail.verdict === 'lowered' || !rail.reached) continue
        const key = [step.stage, step.mode, rail.rail, rail.at_V.toFixed(1)].join('|')
        const { rail: name, at_V, volts, amps, expected_A, verdict, error_A } = rail
        const found = series.get(key) ?? {
          stage: step.stage,
          mode: step.mode,
          rail: name,
          at_V,
          points: [],
          change: null,
        }
        series.set(key, found)
        // Raised and then held at the same volts, it is told as it was at the last.
        if (found.points.at(-1)?.run === run) found.points.pop()
        found.points.push({ run, volts, amps, expected_A, verdict, error_A })
      }
  }
  return {
    equipment,
    runs,
    unread,
    capacitors,
    series: [...series.values()].map((each) => ({ ...each, change: changeOf(each.points) })),
  }
}

function judgedIn(
  parts: readonly FormedStory[],
  why: string,
): Pick<CapacitorsIn, 'leakage' | 'capacitance' | 'why'> {
  if (parts.length === 0) return { leakage: 'not judged', capacitance: 'not judged', why }
  return {
    leakage: Object.fromEntries(
      parts.map(({ part, leak_A, volts, verdict }) => [part, { amps: leak_A, volts, verdict }]),
    ),
    capacitance: Object.fromEntries(parts.map(({ part, F }) => [part, F])),
    why: 'lifted, each behind its own resistor and meter',
  }
}

function changeOf(points: readonly Point[]): Series['change'] {
  const measured = points.filter(({ amps, error_A }) => amps !== null && error_A !== null)
  const [first, last] = [measured[0], measured.at(-1)]
  if (first === undefined || last === undefined || first === last) return null
  const amps = (last.amps ?? 0) - (first.amps ?? 0)
  const apart_A = allowedForVolts(
    { volts: first.volts, amps: first.amps ?? 0 },
    { volts: last.volts, amps: last.amps ?? 0 },
  )
  const error_A = (first.error_A ?? 0) + (last.error_A ?? 0) + apart_A
  return { amps, error_A, beyond_error: Math.abs(amps) > error_A }
}
