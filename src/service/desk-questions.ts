import type { Ready } from '../session/index.js'
import type {
  ApiBook,
  ApiCoverage,
  ApiDiagnosis,
  ApiProofs,
  ApiProved,
  ApiWorksheet,
  BookWriting,
  Check,
  Files,
  FileText,
  NewSet,
  Planned,
  Replay,
  Reply,
  Runs,
  Supplies,
  Traces,
  Written,
} from './api/index.js'

type Answer<T> = T | Promise<T>

/**
 * What is answered beside the run, by a process of its own: everything that plans, reads run files or waits for a disk. The
 * process that supervises a run does none of it, or its heartbeat would falter and the controller make safe.
 */
export interface DeskQuestions {
  files(ask: object): Answer<Files>
  readFile(ask: { path: string }): Answer<FileText>
  writeFile(ask: { path: string; text: string; replaces: string | null }): Answer<Written>
  check(ask: { path: string; text?: string | undefined; texts?: Texts }): Answer<Check>
  newSet(ask: { answers: readonly string[] }): Answer<NewSet>
  schema(ask: { kind: 'equipment' | 'bench' | 'profile' }): Answer<object>
  plan(ask: { profile: string; bench?: string | undefined; texts?: Texts; parts: boolean }): Answer<Planned>
  supplies(ask: { bench: string }): Answer<Supplies>
  worksheet(ask: { file: string }): Answer<ApiWorksheet>
  keepReadings(ask: {
    file: string
    readings: readonly { item: string; value: string }[]
    meter: string
    by: string
    on?: string | undefined
    at_bench: boolean
  }): Answer<ApiWorksheet>
  book(ask: { file: string }): Answer<ApiBook>
  writeBook(ask: { file: string; entry: BookWriting; by: string; on?: string | undefined }): Answer<ApiBook>
  proofs(ask: { file: string }): Answer<ApiProofs>
  prove(ask: {
    file: string
    of: ApiProved['of']
    readings: Readonly<Record<string, string>>
    instruments: readonly string[]
    accuracy: string
    by: string
    on?: string | undefined
  }): Answer<ApiProved>
  /** `picture`: a file that whoever asked removes. */
  addPhotograph(ask: {
    file: string
    name: string
    caption: string
    picture: string
    by: string
  }): Answer<ApiBook>
  /** Into a file of its own, which whoever asked sends on and removes. */
  photograph(ask: { file: string; seq: number }): Answer<{ readonly file: string; readonly type: string }>
  archive(ask: { file: string }): Answer<{ readonly file: string; readonly name: string }>
  setPage(ask: {
    file: string
    page: 'book' | 'worksheet' | 'record sheet'
  }): Answer<{ readonly html: string }>
  coverage(ask: { profile: string; bench?: string | undefined; texts?: Texts }): Answer<ApiCoverage>
  diagnosis(ask: {
    run: string
    readings: readonly string[]
    fails: boolean
    priors: readonly string[]
  }): Answer<ApiDiagnosis>
  runs(ask: {
    set?: string | undefined
    outcome?: string | undefined
    kind?: string | undefined
    since?: string | undefined
    until?: string | undefined
  }): Answer<Runs>
  run(ask: { run: string }): Answer<Reply<'run'>>
  seal(ask: { run: string }): Answer<Reply<'seal'>>
  runPlan(ask: { run: string }): Answer<Reply<'runPlan'>>
  traces(ask: {
    run: string
    width: number
    from_s?: number | undefined
    to_s?: number | undefined
    streams?: string | undefined
    unit?: 'V' | 'A' | undefined
  }): Answer<Traces>
  inForce(ask: { run: string; however_long: 'yes' | 'no' }): Answer<Reply<'inForce'>>
  addNote(ask: { run: string; text: string; by: string }): Answer<Reply<'addNote'>>
  report(ask: { run: string }): Answer<{ readonly html: string; readonly name: string }>
  /** Into a file of its own, which whoever asked sends on and removes. */
  export(ask: {
    run: string
    format: 'csv' | 'jsonl' | 'parquet'
  }): Answer<{ readonly file: string; readonly name: string }>
  replay(ask: { run: string; profile?: string | undefined; bench?: string | undefined }): Answer<Replay>
  compare(ask: { a: string; b: string }): Answer<Reply<'compare'>>
  trend(ask: { set: string; rehearsals: boolean }): Answer<Reply<'trend'>>
  /** All that a start needs, judged; nothing is energised by it. */
  prepare(ask: {
    profile: string
    bench?: string | undefined
    faults: readonly string[]
    speed: number
    continues: boolean
    /** Hash of the plan that was read. */
    plan?: string | undefined
  }): Answer<PreparedStart>
  /** The set's last run, where its hook-up was confirmed and is the same as in the prepared plan. */
  hookedUpAsIn(ask: { plan: Ready['plan'] }): Answer<{ readonly run: string | null }>
}
type Texts = Readonly<Record<string, string>> | undefined

export interface PreparedStart {
  readonly ready: Ready
  /** As it will be obeyed: at its speed, hash included. */
  readonly plan: Ready['plan']
  readonly cautions: string
  /** The plan as a document, for whoever watches. */
  readonly document: Reply<'livePlan'>
  readonly state_path: string
  readonly folder: string
  readonly version: string
  /** Electrolytics lifted out of the set: the profile that names them, and the bench as its file has it. */
  readonly lifted: { readonly profile_path: string; readonly whole: Ready['bench'] } | null
}

/** What the desk must know of where it stands; given to it at its start. */
export interface DeskPlace {
  /** Folder of the equipment, bench and profile files. */
  readonly folder: string
  /** Folder of the runs, and others that may hold some. */
  readonly runs: string
  readonly elsewhere: readonly string[]
}
