import { listed, parseQuantity } from '../../quantities/index.js'
import {
  type Checkable,
  figuresOf,
  inForce,
  isRatingSystem,
  type OwnerCheck,
  type TubeRecord,
} from '../../tubes/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { addChecks, checksPath, readChecks } from './checks-file.js'
import { figureWords, inForceWords } from './differences.js'

interface Options {
  readonly sheet?: string
  readonly in?: string
  readonly json?: boolean
}

/**
 * `slowglow tube TYPE --verify FIGURE=VALUE --sheet WORDS`: records what the owner's sheet prints. All or nothing: one
 * figure that is not understood records none. Exit 1 where a sheet says otherwise than the record.
 */
export function verify(record: TubeRecord, wanted: readonly string[], options: Options, io: Io): number {
  const json = options.json === true
  const sheet = options.sheet?.trim() ?? ''
  if (sheet.length < 4) {
    return refuse(io, json, {
      exit: exits.usage,
      where: '--sheet',
      what: 'slowglow tube: --verify wants --sheet: where you read the figure.',
      remedy: 'Name the sheet, its issue and page, so that it can be looked up.',
    })
  }
  const figures = figuresOf(record)
  const read = wanted.map((text) => readFigure(text, figures))
  for (const each of read)
    if (!each.ok) {
      return refuse(io, json, {
        exit: exits.usage,
        where: `--verify ${each.text}`,
        what: `slowglow tube: --verify ${each.text}: ${each.problem}`,
        remedy: 'Nothing was recorded.',
      })
    }
  const path = checksPath(io.env, options.in)
  if (path === null) {
    return refuse(io, json, {
      exit: exits.usage,
      where: '--in',
      what: 'slowglow tube: there is no data folder of your own: neither XDG_DATA_HOME nor HOME is set.',
      remedy: "Name a folder with --in, such as that of the set's files.",
    })
  }
  const before = readChecks(path)
  if (before.trouble !== null) {
    return refuse(io, json, {
      exit: exits.recordNotAvailable,
      where: path,
      what: `slowglow tube: ${before.trouble}. Nothing was recorded.`,
      remedy: 'Mend or move that file first.',
    })
  }
  const on = new Date().toISOString().slice(0, 10)
  const told = read.flatMap((each) => (each.ok ? [{ ...each, ...inForceOf(each) }] : []))
  const added: OwnerCheck[] = told.map(({ figure, value }) => ({
    type: record.type,
    figure: figure.name,
    value,
    sheet,
    on,
  }))
  try {
    addChecks(path, before.checks, added)
  } catch (error) {
    return refuse(io, json, {
      exit: exits.recordNotAvailable,
      where: path,
      what: `slowglow tube: ${path} cannot be written: ${error instanceof Error ? error.message : String(error)}.`,
      remedy: 'Nothing was recorded; choose another folder with --in.',
    })
  }
  if (json) {
    printJson(io, {
      type: record.type,
      file: path,
      checks: told.map(({ figure, value, agreed, in_force }) => ({
        figure: figure.name,
        value,
        record: figure.value,
        agreed,
        in_force,
      })),
    })
  } else {
    for (const { figure, value, agreed, whose } of told) {
      const says = `${record.type} ${figure.name}: your sheet says ${figureWords(figure, value)}`
      io.out(
        agreed
          ? `${says}, as the record does: verified.`
          : `${says}, the record ${figureWords(figure, figure.value)}. Kept as a difference. ${inForceWords(figure, whose)}. To use your sheet whole, define the type under tube_types in the set's file.`,
      )
    }
    io.out(`Recorded in ${path}.`)
  }
  return told.every(({ agreed }) => agreed) ? exits.done : exits.finding
}

type Value = OwnerCheck['value']
type Read =
  | { readonly ok: true; readonly figure: Checkable; readonly value: Value }
  | { readonly ok: false; readonly text: string; readonly problem: string }

/** Whether both agree, and whose is in force; where the record says nothing there is nothing to differ from. */
function inForceOf({ figure, value }: { readonly figure: Checkable; readonly value: Value }): {
  readonly agreed: boolean
  readonly whose: 'record' | 'sheet'
  readonly in_force: Value
} {
  const { value: in_force, whose } = inForce(figure, value)
  const agreed = whose === 'both' || figure.value === 'unknown'
  return { agreed, whose: whose === 'record' ? 'record' : 'sheet', in_force }
}

function readFigure(text: string, figures: readonly Checkable[]): Read {
  const [name = '', value = '', ...rest] = text.split('=').map((part) => part.trim())
  const figure = figures.find((each) => each.name === name)
  if (figure === undefined)
    return {
      ok: false,
      text,
      problem: `${listed(
        "this record's figures are",
        figures.map((each) => each.name),
        'this record has no figure to verify',
      )}.`,
    }
  if (value === '' || rest.length > 0) return { ok: false, text, problem: `write ${name}=VALUE.` }
  if (figure.unit === null)
    return isRatingSystem(value)
      ? { ok: true, figure, value }
      : { ok: false, text, problem: 'a rating system is design-centre, design-maximum or absolute.' }
  if (figure.unit === 'number') {
    const bare = Number(value)
    return bare > 0 && Number.isFinite(bare)
      ? { ok: true, figure, value: bare }
      : { ok: false, text, problem: `${name} is a bare number, such as ${name}=100.` }
  }
  const bare = /[0-9.]$/.test(value) ? `${value} ${figure.unit}` : value
  const quantity = parseQuantity(bare, figure.unit)
  return quantity.ok
    ? { ok: true, figure, value: quantity.value }
    : { ok: false, text, problem: `${quantity.problem}; ${quantity.remedy}.` }
}
