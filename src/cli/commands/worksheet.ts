import { readFileSync, writeFileSync } from 'node:fs'
import { resolve } from 'node:path'
import { type ColdState, coldState } from '../../book/index.js'
import { keepReadings, type Kept } from '../book/keep.js'
import { withBlindness } from '../book/unseen.js'
import { sheetPage } from '../book/sheet-page.js'
import { summaryLines, worksheetText } from '../book/worksheet-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { shown } from '../problems.js'
import { type Refusal, refuse } from '../refuse.js'
import { bookAt, bookHelp, setFile } from '../set-file.js'
import type { Register } from './index.js'

interface Options {
  /** `true`: readings come as lines on standard input. */
  readonly record?: string[] | true
  readonly meter?: string
  readonly by?: string
  readonly on?: string
  readonly paper?: string
  readonly book?: string
  readonly json?: boolean
}

/** `slowglow worksheet FILE`: what the cold set should read, what it did, and why that matters. */
export const registerWorksheet: Register = (program, io) => {
  program
    .command('worksheet')
    .description(
      'the cold-check sheet of a set: what to read before any power, how, and why; takes readings and judges them',
    )
    .argument('<file>', "the set's equipment file, or a profile that names it")
    .option(
      '--record [item=value...]',
      'keeps these readings in the set’s book and judges them; without any, lines of ITEM=VALUE are read from standard input',
    )
    .option('--meter <words>', 'which meter they were taken with; needed for readings, not for looks')
    .option('--by <name>', 'who took them; unless given: the user’s name')
    .option('--on <day>', 'day on which they were taken, as 2026-11-29; unless given: now')
    .option(
      '--paper <file>',
      'writes the sheet as one HTML file with blank columns, to print; never written over',
    )
    .option('--book <file>', bookHelp)
    .option('--json', 'one JSON document on standard output')
    .action((file: string, options: Options) => {
      process.exitCode = worksheet(file, options, io)
    })
}

/** Returns the exit code. */
function worksheet(file: string, options: Options, io: Io): Exit {
  const { json = false, record, paper } = options
  const set = setFile(file, io)
  if ('exit' in set) return refuse(io, json, set)
  const before = coldState(set.equipment, set.path, bookAt(options, io))
  if ('trouble' in before)
    return refuse(io, json, { exit: exits.recordNotAvailable, where: file, what: before.trouble })
  const kept =
    record === undefined
      ? []
      : keepReadings(record === true ? typed() : record, before, {
          meter: options.meter ?? '',
          by: options.by ?? userName(io),
          on: options.on ?? null,
        })
  if ('exit' in kept) return refuse(io, json, kept)
  const after = record === undefined ? before : coldState(set.equipment, set.path, bookAt(options, io))
  if ('trouble' in after)
    return refuse(io, json, { exit: exits.recordNotAvailable, where: file, what: after.trouble })
  const state = withBlindness(after, file, io)
  if (paper !== undefined) {
    const trouble = written(
      resolve(io.cwd, paper),
      sheetPage(state, new Date().toISOString().slice(0, 10)),
      io,
    )
    if (trouble !== null) return refuse(io, json, trouble)
  }
  if (json) printJson(io, sheetDocument(state, kept))
  else if (kept.length > 0)
    io.out(
      [...kept.map(({ item, text }) => `${item}: ${text}`), '', ...summaryLines(state.standing)].join('\n'),
    )
  else if (paper === undefined) io.out(worksheetText(state))
  else io.out(`${paper}: open it in any browser, print it from there.`)
  return state.standing.some((each) => each.state === 'out of range' && each.waiver === null)
    ? exits.finding
    : exits.done
}

function typed(): string[] {
  return readFileSync(0, 'utf8')
    .split('\n')
    .map((line) => line.trim())
    .filter((line) => line !== '' && !line.startsWith('#'))
}

/** Writes a page where nothing lies yet; why it could not be, or null. */
export function written(path: string, text: string | Uint8Array, io: Pick<Io, 'cwd'>): Refusal | null {
  try {
    writeFileSync(path, text, { flag: 'wx' })
    return null
  } catch (error) {
    const exists = error instanceof Error && 'code' in error && error.code === 'EEXIST'
    const file = shown(path, io.cwd)
    return {
      exit: exits.usage,
      where: file,
      what: exists
        ? `${file} exists already and is not written over.`
        : `${file} could not be written: ${error instanceof Error ? error.message : String(error)}.`,
      remedy: 'Give another name.',
    }
  }
}

/** The sheet with its readings as data; SI units. */
function sheetDocument({ sheet, standing, book }: ColdState, kept: readonly Kept[]): object {
  return {
    ...sheet,
    book: book.path,
    kept,
    checks: standing.map(({ item, check, state, text, reading, waiver, once }) => ({
      item,
      ...check,
      state,
      text,
      reading,
      waiver,
      once_waived: once,
    })),
  }
}
