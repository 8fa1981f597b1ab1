import { mkdtempSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, extname, join, relative, sep } from 'node:path'
import { appendToBook, type ColdState, coldState, photographOf, writeArchive } from '../../book/index.js'
import { type DeskQuestions, Refused } from '../../service/index.js'
import { valueText } from '../../worksheet/index.js'
import { archiveFiles } from '../book/archive-files.js'
import { bookPage, imageType } from '../book/book-page.js'
import { lifeLines } from '../book/book-text.js'
import { keepReadings, type Kept, waiverOf } from '../book/keep.js'
import { lifeIn } from '../book/life.js'
import { photographed } from '../book/photograph.js'
import { keyedRunIn } from '../book/keyed-run.js'
import { keyedModes, proofFrom, type ProofWay, proofWays } from '../book/prove.js'
import { recordSheet, shownBy } from '../book/record-sheet.js'
import { sheetPage } from '../book/sheet-page.js'
import { withBlindness } from '../book/unseen.js'
import { summaryLines, usualWords, waivedLines, waiversOf } from '../book/worksheet-text.js'
import { camel } from '../rf/readings.js'
import { coveredBy, liftedOut } from '../commands/coverage.js'
import { notPlanned, planFiles } from '../plan-files.js'
import { type SetFile, setFile } from '../set-file.js'
import { pathIn, refusedAs, textsOf, type Where } from './place.js'

type SetsDesk = Pick<
  DeskQuestions,
  | ('worksheet' | 'keepReadings')
  | ('proofs' | 'prove')
  | ('book' | 'writeBook' | 'addPhotograph' | 'photograph' | 'archive' | 'setPage' | 'coverage')
>
type Worksheet = Awaited<ReturnType<DeskQuestions['worksheet']>>
type BookTold = Awaited<ReturnType<DeskQuestions['book']>>

interface Opened {
  readonly set: SetFile
  readonly state: ColdState
}

export function setsDesk(where: Where): SetsDesk {
  const { folder, env } = where
  const opened = (file: string): Opened => {
    pathIn(where, file)
    const set = setFile(file, { cwd: folder, env }, textsOf(where))
    if ('exit' in set) throw refusedAs(set)
    // Its book lies beside it, so a set that another folder holds is not opened by naming it in a profile.
    pathIn(where, relative(folder, set.path))
    const state = coldState(set.equipment, set.path)
    if ('trouble' in state) throw notRead(state.trouble, file)
    return { set, state }
  }
  /** With what the plan of the profile does not notice told at the checks that find it, as the command has it. */
  const sheetOf = (file: string, { set, state }: Opened): Opened => ({
    set,
    state: withBlindness(state, file, { cwd: folder, env }, textsOf(where)),
  })
  const told = (file: string): BookTold => bookOf(opened(file), where)
  const written = (
    file: string,
    { state }: Opened,
    by: string,
    entries: Parameters<typeof appendToBook>[2],
  ) => {
    const { path, entries: before } = state.book
    const done = appendToBook(path, { at: new Date().toISOString(), by, expects: before.length }, entries)
    if ('trouble' in done) throw notRead(done.trouble, file)
    return told(file)
  }
  return {
    worksheet: ({ file }) => worksheetOf(sheetOf(file, opened(file)), where, []),
    keepReadings: ({ file, readings, meter, by, on, at_bench }) => {
      const { state } = opened(file)
      const bad = readings.find(({ item }) => !at_bench && isOutOfRange(state, item))
      if (bad !== undefined)
        throw new Refused(
          403,
          'not allowed',
          `${bad.item} stands out of range and keeps the set from power.`,
          {
            remedy: 'What takes its place is typed on the bench machine, by who mended it.',
          },
        )
      const lines = readings.map(({ item, value }) => `${item}=${value}`)
      const kept = keepReadings(lines, state, { meter, by, on: on ?? null })
      if ('exit' in kept) throw refusedAs(kept)
      return worksheetOf(sheetOf(file, opened(file)), where, kept)
    },
    book: ({ file }) => told(file),
    writeBook: ({ file, entry, by, on = null }) => {
      const now = opened(file)
      if (entry.kind !== 'waiver')
        return written(file, now, by, [
          { on, body: entry.kind === 'replaced' ? { ...entry, text: entry.text ?? '' } : entry },
        ])
      const body = waiverOf(entry.item, entry.reason, now.state)
      if ('exit' in body) throw refusedAs(body)
      return written(file, now, by, [{ body, on }])
    },
    proofs: ({ file }) => proofsOf(opened(file).set.equipment),
    prove: ({ file, of, readings, instruments, accuracy, by, on = null }) => {
      const now = opened(file)
      const way = proofWays.find((each) => each.of === of)
      if (way === undefined) throw new Refused(400, 'bad request', `There is no proof '${of}'.`)
      const made = proofFrom(
        way,
        asOptions({ ...readings, accuracy }, way),
        instruments,
        now.set.equipment,
        now.state.book.entries,
        (mode) => keyedRunIn(now.state.book.entries, mode),
      )
      if (typeof made === 'string')
        throw new Refused(422, 'bad answer', `${made.replace(/--([a-z-]+)/g, '"$1"')}.`, { where: file })
      const { what, verdict, judged } = made.proof
      const figures = made.body.kind === 'proof' ? made.body.figures.map(({ text }) => text) : []
      const book = written(file, now, by, [{ body: made.body, on }])
      return { of, what, verdict, figures, judged: judged.map((each) => ({ ...each })), book }
    },
    addPhotograph: ({ file, name, caption, picture, by }) => {
      const now = opened(file)
      const entry = photographed(picture, basename(name), caption)
      if ('exit' in entry) throw refusedAs(entry)
      return written(file, now, by, [entry])
    },
    photograph: ({ file, seq }) => {
      const { book } = opened(file).state
      const entry = book.entries[seq]
      if (entry?.body.kind !== 'photograph')
        throw new Refused(404, 'not found', `Entry ${seq + 1} of the book is no photograph.`, { where: file })
      const data = photographOf(book.path, entry)
      if ('trouble' in data) throw notRead(data.trouble, file)
      return { file: made('picture', data), type: imageType(data) ?? 'application/octet-stream' }
    },
    archive: ({ file }) => {
      const { set, state } = opened(file)
      const life = lifeIn(state, set, where)
      const printed = today()
      const page = bookPage(life, state.standing, (entry) => photographOf(state.book.path, entry), printed)
      const name = `${basename(set.path, extname(set.path))}.tar`
      const path = join(mkdtempSync(join(tmpdir(), 'slowglow-archive-')), name)
      writeArchive(path, archiveFiles(state, life, set, page, printed).files, new Date())
      return { file: path, name }
    },
    setPage: ({ file, page }) => {
      const now = opened(file)
      if (page === 'worksheet') return { html: sheetPage(sheetOf(file, now).state, today()) }
      const { set, state } = now
      const life = lifeIn(state, set, where)
      if (page === 'record sheet') return { html: recordSheet(life, state, today()) }
      const pictures = (entry: Parameters<typeof photographOf>[1]) => photographOf(state.book.path, entry)
      return { html: bookPage(life, state.standing, pictures, today()) }
    },
    coverage: ({ profile, bench, texts = {} }) => {
      for (const path of [profile, bench]) if (path !== undefined && !(path in texts)) pathIn(where, path)
      const planned = planFiles(profile, bench, folder, env, textsOf(where, texts))
      const refusal = notPlanned(planned, 'coverage', profile)
      if (refusal !== null) throw refusedAs(refusal)
      const { plan, parts } = planned
      if (plan === null || parts === null) throw new Error('A plan without an error has its parts.')
      if (parts.lifted !== null) throw refusedAs(liftedOut(profile))
      return coveredBy({ equipment: parts.equipment, bench: parts.bench, plan }, parts.set_path)
    },
  }
}

function proofsOf(equipment: SetFile['equipment']): Awaited<ReturnType<DeskQuestions['proofs']>> {
  return {
    ways: proofWays.map(({ of, about, cautions, flags, choices }) => ({
      ...{ of, about, cautions: [...cautions] },
      readings: flags.map(({ flag, unit, words, needed }) => ({ name: flag, unit, words, needed })),
      choices: choices.map(({ flag, words, among }) => ({
        ...{ name: flag, words },
        among: among === 'modes' ? keyedModes(equipment) : among === null ? null : [...among],
        must: among === 'modes',
      })),
    })),
  }
}

/** As the command line gives them: what is confirmed as true, what stands empty left out. */
function asOptions(
  readings: Readonly<Record<string, string>>,
  { choices }: ProofWay,
): Record<string, unknown> {
  const confirmed = new Set(choices.flatMap(({ flag, among }) => (among === null ? [flag] : [])))
  return Object.fromEntries(
    Object.entries(readings).flatMap(([name, text]): [string, unknown][] => {
      const key = camel(name)
      if (confirmed.has(name)) return text === 'yes' ? [[key, true]] : []
      return text.trim() === '' ? [] : [[key, text.trim()]]
    }),
  )
}

function worksheetOf({ set, state }: Opened, { folder }: Where, kept: readonly Kept[]): Worksheet {
  const { sheet, standing, book } = state
  const { equipment, level, mode, controls, not_computed } = sheet
  return {
    ...{ equipment, level, mode, controls: { ...controls }, not_computed: [...not_computed] },
    file: inFolder(folder, set.path),
    summary: summaryLines(standing),
    book: inFolder(folder, book.path),
    checks: standing.map(toldOf),
    kept: [...kept],
  }
}

function toldOf(each: ColdState['standing'][number]): Worksheet['checks'][number] {
  const { item, check, state, text, reading } = each
  return {
    ...{ item, state, text },
    reading:
      reading === null
        ? null
        : { value: valueText(reading.unit, reading.value), by: reading.by, at: reading.at },
    waiver: waiversOf(each).join(' ') || null,
    check:
      check === null
        ? null
        : {
            ...{ group: check.group, what: check.what, kind: check.kind, wanted: check.wanted },
            units: check.kind === 'look' ? [] : typedIn(check),
            usual: usualWords(check) || null,
            ...{ because: check.because, source: check.source, method: check.method, meter: check.meter },
            ...{ cautions: [...check.cautions], must: check.must, waivable: check.waivable },
          },
  }
}

const typedIn = ({ unit, volts }: { unit: 'Ω' | 'V' | null; volts: object | null }): string[] => [
  ...(unit === 'V' ? ['V', 'mV'] : ['Ω', 'kΩ', 'MΩ', 'GΩ']),
  ...(unit !== 'V' && volts !== null ? ['V', 'mV'] : []),
]

function bookOf({ set, state }: Opened, where: Where): BookTold {
  const life = lifeIn(state, set, where)
  const { equipment } = set
  return {
    ...{ equipment: equipment.name, file: inFolder(where.folder, set.path), last: life.last },
    book: inFolder(where.folder, state.book.path),
    lines: lifeLines(life),
    photographs: life.entries.flatMap(({ seq, at, body }) =>
      body.kind === 'photograph'
        ? [{ seq, name: body.name, caption: body.caption, at, sha256: body.sha256 }]
        : [],
    ),
    waived: waivedLines(state.standing),
    shown: shownBy(life.entries).map(({ of, verdict }) => ({ of, verdict })),
    parts: [
      ...Object.keys(equipment.tubes),
      ...Object.keys(equipment.parts),
      ...Object.keys(equipment.rail_capacitors),
    ],
  }
}

const isOutOfRange = ({ standing }: ColdState, item: string): boolean =>
  standing.some((each) => each.item.toLowerCase() === item.toLowerCase() && each.state === 'out of range')

const notRead = (what: string, where: string): Refused =>
  new Refused(503, 'record not available', what, { where })
const inFolder = (folder: string, path: string): string => relative(folder, path).split(sep).join('/')
const today = (): string => new Date().toISOString().slice(0, 10)

function made(name: string, data: Uint8Array): string {
  const file = join(mkdtempSync(join(tmpdir(), 'slowglow-picture-')), name)
  writeFileSync(file, data)
  return file
}
