import { existsSync } from 'node:fs'
import { basename, resolve } from 'node:path'
import {
  appendToBook,
  type BookBody,
  type ColdState,
  coldState,
  type NewEntry,
  photographOf,
  writeArchive,
} from '../../book/index.js'
import { bookPage } from '../book/book-page.js'
import { archiveFiles } from '../book/archive-files.js'
import { bookText, lifeLines } from '../book/book-text.js'
import { waiverOf } from '../book/keep.js'
import { lifeOf } from '../book/life.js'
import { photographed } from '../book/photograph.js'
import { waivedLines } from '../book/worksheet-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { collect } from '../live/flags.js'
import { type Refusal, refuse } from '../refuse.js'
import { runsHelp } from '../runs-folder.js'
import { bookAt, bookHelp, type SetFile, setFile } from '../set-file.js'
import type { Register } from './index.js'
import { written } from './worksheet.js'

interface Options {
  readonly describe?: string
  readonly serial: string[]
  readonly photo?: string
  readonly caption?: string
  readonly finding?: string
  readonly repair?: string
  readonly part: string[]
  readonly replaced?: string
  readonly was?: string
  readonly now?: string
  readonly waive?: string
  readonly because?: string
  readonly by?: string
  readonly on?: string
  readonly html?: string
  readonly export?: string
  readonly runs?: string
  readonly book?: string
  readonly json?: boolean
}

/** `slowglow book EQUIPMENT`: one record of a set over its whole life; what is written stays. */
export const registerBook: Register = (program, io) => {
  program
    .command('book')
    .description(
      "the set's life: findings, repairs, worksheets, runs, proofs; adds to it, prints it, exports it",
    )
    .argument('<file>', "the set's equipment file, or a profile that names it")
    .option('--describe <text>', 'what the set is')
    .option('--serial <what=number>', 'a number on it, as "serial=1234"; may be given again', collect, [])
    .option('--photo <file>', 'attaches a photograph, which is copied into the book')
    .option('--caption <text>', 'what it shows')
    .option('--finding <text>', 'what was found')
    .option(
      '--repair <text>',
      'what was done: cold checks of the parts, and those that must be taken, are then read again',
    )
    .option('--part <name>', 'part that a finding or repair is about; may be given again', collect, [])
    .option('--replaced <part>', 'a part was replaced, with --was and --now')
    .option('--was <value>', 'what stood there')
    .option('--now <value>', 'what stands there now')
    .option(
      '--waive <item>',
      'lets a cold check stand as it is, with --because; it stays in every later view',
    )
    .option('--because <reason>', 'the written reason of a waiver, or why a part was replaced')
    .option('--by <name>', 'who writes; unless given: the user’s name')
    .option('--on <day>', 'day on which it was done, as 2026-11-29; unless given: now')
    .option('--html <file>', 'writes the book as one HTML file to print; never written over')
    .option('--export <file>', 'writes one archive (tar): book, sheet, photographs, the set’s file, its runs')
    .option('--book <file>', bookHelp)
    .option('--runs <dir>', runsHelp)
    .option('--json', 'one JSON document on standard output')
    .action((file: string, options: Options) => {
      process.exitCode = book(file, options, io)
    })
}

/** Returns the exit code. */
function book(file: string, options: Options, io: Io): Exit {
  const { json = false } = options
  const set = setFile(file, io)
  if ('exit' in set) return refuse(io, json, set)
  const unreadable = (what: string): Exit =>
    refuse(io, json, { exit: exits.recordNotAvailable, where: file, what })
  const before = coldState(set.equipment, set.path, bookAt(options, io))
  if ('trouble' in before) return unreadable(before.trouble)
  const asked = entriesOf(options, before, io)
  if ('exit' in asked) return refuse(io, json, asked)
  if (asked.length > 0) {
    const stamp = {
      at: new Date().toISOString(),
      by: options.by ?? userName(io),
      expects: before.book.entries.length,
    }
    const on = options.on ?? null
    const done = appendToBook(
      before.book.path,
      stamp,
      asked.map((entry) => ({ ...entry, on })),
    )
    if ('trouble' in done) return unreadable(done.trouble)
  }
  const state = asked.length > 0 ? coldState(set.equipment, set.path, bookAt(options, io)) : before
  if ('trouble' in state) return unreadable(state.trouble)
  return shownAs(state, set, options, io)
}

function shownAs(state: ColdState, set: SetFile, options: Options, io: Io): Exit {
  const { json = false, html, export: archive, runs } = options
  const life = lifeOf(state, set, runs, io)
  const printed = new Date().toISOString().slice(0, 10)
  const page = (): string =>
    bookPage(life, state.standing, (entry) => photographOf(state.book.path, entry), printed)
  if (html !== undefined) {
    const trouble = written(resolve(io.cwd, html), page(), io)
    if (trouble !== null) return refuse(io, json, trouble)
  }
  let missing: readonly string[] = []
  if (archive !== undefined) {
    const trouble = archived(resolve(io.cwd, archive), () => {
      const made = archiveFiles(state, life, set, page(), printed)
      missing = made.missing
      return made.files
    })
    if (trouble !== null) return refuse(io, json, trouble)
  }
  if (json)
    printJson(io, {
      ...{ equipment: life.equipment, book: life.path, last: life.last, entries: life.entries },
      life: lifeLines(life),
      ...(archive !== undefined && { missing }),
    })
  else
    io.out(
      [
        bookText(life),
        ...waivedLines(state.standing).map((line) => `Waived: ${line}`),
        ...[html, archive].flatMap((each) => (each === undefined ? [] : [`Written: ${each}`])),
        ...missing.map((each) => `Not in the archive: ${each}`),
      ].join('\n'),
    )
  return exits.done
}

function archived(path: string, files: () => ReturnType<typeof archiveFiles>['files']): Refusal | null {
  try {
    writeArchive(path, files(), new Date())
    return null
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error)
    return {
      exit: exits.usage,
      where: path,
      what: existsSync(path)
        ? `${path} exists already and is not written over.`
        : `The archive could not be written: ${why}.`,
      remedy: 'Give another name.',
    }
  }
}

/** What is to be written, all of it sound, or why not. */
function entriesOf(options: Options, state: ColdState, io: Io): NewEntry[] | Refusal {
  const {
    describe,
    serial,
    photo,
    caption = '',
    finding,
    repair,
    part: parts,
    replaced,
    was,
    now,
    because,
  } = options
  const usage = (what: string, remedy: string): Refusal => ({ exit: exits.usage, what, remedy })
  const bodies: BookBody[] = []
  if (describe !== undefined) bodies.push({ kind: 'description', text: describe })
  for (const each of serial) {
    const [what = '', number = ''] = each.split('=', 2)
    if (what === '' || number === '') return usage(`'${each}' is no number of a set.`, 'Write WHAT=NUMBER.')
    bodies.push({ kind: 'serial', what, number })
  }
  if (finding !== undefined) bodies.push({ kind: 'finding', text: finding, parts })
  if (repair !== undefined) bodies.push({ kind: 'repair', text: repair, parts })
  if (parts.length > 0 && finding === undefined && repair === undefined)
    return usage('--part says what a finding or a repair is about.', 'Give --finding or --repair with it.')
  if (replaced !== undefined) {
    if (was === undefined || now === undefined)
      return usage(`What ${replaced} was and what it is now is not said.`, 'Give --was and --now.')
    bodies.push({ kind: 'replaced', part: replaced, was, now, text: because ?? '' })
  }
  if (options.waive !== undefined) {
    const waiver = waiverOf(options.waive, because ?? '', state)
    if ('exit' in waiver) return waiver
    bodies.push(waiver)
  }
  const entries: NewEntry[] = bodies.map((body) => ({ body }))
  if (photo === undefined) return entries
  const picture = photographed(resolve(io.cwd, photo), basename(photo), caption)
  return 'exit' in picture ? picture : [...entries, picture]
}
