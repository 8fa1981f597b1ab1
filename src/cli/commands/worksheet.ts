import { readFileSync, writeFileSync } from 'node:fs'
import { resolve } from 'node:path'
import { appendToBook, type BookBody, type ColdState, coldState } from '../../book/index.js'
import { judgeReading } from '../../worksheet/index.js'
import { sheetPage } from '../book/sheet-page.js'
import { summaryLines, worksheetText } from '../book/worksheet-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { shown } from '../problems.js'
import { type Refusal, refuse } from '../refuse.js'
import { setFile } from '../set-file.js'
import type { Register } from './index.js'

interface Options {
  /** `true`: readings come as lines on standard input. */
  readonly record?: string[] | true
  readonly meter?: string
  readonly by?: string
  readonly on?: string
  readonly paper?: string
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
    .option('--meter <words>', 'which meter they were taken with')
    .option('--by <name>', 'who took them; unless given: the user’s name')
    .option('--on <day>', 'day on which they were taken, as 2026-11-29; unless given: now')
    .option(
      '--paper <file>',
      'writes the sheet as one HTML file with blank columns, to print; never written over',
    )
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
  const before = coldState(set.equipment, set.path)
  if ('trouble' in before)
    return refuse(io, json, { exit: exits.recordNotAvailable, where: file, what: before.trouble })
  const kept = record === undefined ? [] : keep(record === true ? typed() : record, before, options, io)
  if ('exit' in kept) return refuse(io, json, kept)
  const state = record === undefined ? before : coldState(set.equipment, set.path)
  if ('trouble' in state)
    return refuse(io, json, { exit: exits.recordNotAvailable, where: file, what: state.trouble })
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

interface Kept {
  readonly item: string
  readonly verdict: string
  readonly text: string
}

/** All of what was typed or none of it: a slip in the last line must not leave the first ones half told. */
function keep(
  lines: readonly string[],
  { sheet, book }: ColdState,
  { by, meter = '', on }: Options,
  io: Io,
): readonly Kept[] | Refusal {
  const usage = (what: string, remedy: string): Refusal => ({ exit: exits.usage, what, remedy })
  const kept: Kept[] = []
  const bodies: BookBody[] = []
  for (const line of lines) {
    const cut = line.lastIndexOf('=')
    const item = line.slice(0, Math.max(0, cut)).trim()
    const value = line.slice(cut + 1).trim()
    if (item === '' || value === '')
      return usage(
        `'${line}' is no reading. Nothing was kept.`,
        'Write ITEM=VALUE, as "chain A=1.2 Ω" or "look dust=good".',
      )
    const check = sheet.checks.find((each) => each.item.toLowerCase() === item.toLowerCase())
    if (check === undefined) {
      const near = sheet.checks.filter((each) => each.item.toLowerCase().includes(item.toLowerCase()))
      return usage(
        `There is no item '${item}' on the sheet. Nothing was kept.`,
        near.length === 0
          ? 'The sheet names them.'
          : `Did you mean ${near
              .slice(0, 5)
              .map((each) => each.item)
              .join(', ')}?`,
      )
    }
    const judged = judgeReading(check, value)
    if (!judged.ok) return usage(`${check.item}: ${judged.problem}. Nothing was kept.`, `${judged.remedy}.`)
    const { verdict, text } = judged
    kept.push({ item: check.item, verdict, text })
    bodies.push({
      ...{ kind: 'reading', item: check.item, value: judged.value, unit: check.unit, written: value },
      ...{ verdict, wanted: check.wanted, meter },
    })
  }
  if (bodies.length === 0) return usage('No reading was given. Nothing was kept.', 'Write ITEM=VALUE.')
  const stamp = { at: new Date().toISOString(), by: by ?? userName(io), expects: book.entries.length }
  const done = appendToBook(
    book.path,
    stamp,
    bodies.map((body) => ({ body, on: on ?? null })),
  )
  return 'trouble' in done ? { exit: exits.recordNotAvailable, where: book.path, what: done.trouble } : kept
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
    checks: standing.map(({ item, check, state, text, reading, waiver }) => ({
      item,
      ...check,
      state,
      text,
      reading,
      waiver,
    })),
  }
}
