import { dirname } from 'node:path'
import { type TubeRecord, withChecks } from '../../tubes/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { placed, shown } from '../problems.js'
import { refuse } from '../refuse.js'
import { atDocument, atText, readAt } from '../tube/at.js'
import { checksPath, readChecks } from '../tube/checks-file.js'
import { type LookedUp, lookUp, setTypes, type SetTypes } from '../tube/look-up.js'
import { recordText } from '../tube/text.js'
import { verify } from '../tube/verify.js'
import type { Register } from './index.js'

/** `slowglow tube TYPE`: what is known of a type, and what it should draw at a point. */
export const registerTube: Register = (program, io) => {
  program
    .command('tube')
    .argument('<type>', 'tube type, as 6V6GT; with --set also one that the set defines')
    .description('the record of a tube type with its sources; with --at, the current expected there')
    .option('--at <volts>', 'electrode volts against the cathode: plate_V=250,screen_V=250,grid_V=-12.5')
    .option(
      '--set <file>',
      "a set's file or a profile of it: the types it defines under tube_types are found too, before the catalogue's, with their fit, and checks kept beside it count",
    )
    .option('--section <name>', 'which section of a multiple tube (default: the first with known curves)')
    .option(
      '--triode-connected',
      'a screen-grid type with its screen tied to its plate; --at then takes no screen',
    )
    .option(
      '--verify <figure=value...>',
      'record that you held a figure against your own sheet: plate_W=12, "heater_A=450 mA", point_1=45mA, service_2_plate_A=83mA, rating_system=design-centre',
    )
    .option('--sheet <words>', 'with --verify: the sheet, its issue and page')
    .option(
      '--in <folder>',
      "with --verify: keep the check beside a set's files instead of in your own data folder",
    )
    .option('--json', 'one JSON document')
    .action((type: string, options: Options) => {
      process.exitCode = tube(type, options, io)
    })
}

interface Options {
  readonly at?: string
  readonly set?: string
  readonly section?: string
  readonly triodeConnected?: boolean
  readonly verify?: readonly string[]
  readonly sheet?: string
  readonly in?: string
  readonly json?: boolean
}

/** Returns the exit code. */
export function tube(type: string, options: Options, io: Io): number {
  const json = options.json === true
  const set = options.set === undefined ? null : setTypes(options.set, io)
  if (set !== null && 'exit' in set) return refuse(io, json, set)
  const hit = lookUp(type, set, io)
  if (hit.found === null) return notFound(type, hit, set, json, io)
  if (options.verify !== undefined) {
    if (!hit.own) return verify(hit.found, options.verify, options, io)
    return refuse(io, json, {
      exit: exits.usage,
      where: '--verify',
      what: `slowglow tube: ${type} is ${hit.as}, and its figures are your own sheet's already.`,
      remedy: 'Correct them there; nothing was recorded.',
    })
  }
  const found = hit.own ? hit.found : checked(hit.found, set, options, io)
  if (options.at !== undefined) return atPoint(found, hit.as, options.at, options, io)
  if (json) printJson(io, { as: hit.as, ...found })
  else io.out(recordText(found, hit.as))
  return exits.done
}

function notFound(
  type: string,
  { near, broken }: Extract<LookedUp, { found: null }>,
  set: SetTypes | null,
  json: boolean,
  io: Io,
): number {
  const file = set === null ? '' : shown(set.path, io.cwd)
  if (broken)
    return refuse(io, json, {
      exit: exits.finding,
      where: file,
      what: `slowglow tube: ${type} is defined in ${file}, and not as it could be used.`,
      remedy: 'Mend what is named.',
      problems: placed(set?.problems ?? [], io.cwd),
    })
  if (json) printJson(io, { type, found: false, near })
  const words =
    near.length > 0 ? `Near it, not taken by itself: ${near.join(', ')}.` : 'No known name is near it.'
  const where = set === null ? 'is not in the catalogue' : `is neither in ${file} nor in the catalogue`
  const where_else =
    set === null
      ? "A set's file may define it under tube_types, from your own sheet: --set FILE looks there too."
      : 'Define it there under tube_types, from your own sheet.'
  io.err(`slowglow tube: ${type} ${where}. ${words} ${where_else}`)
  return exits.finding
}

/** With its owner's checks, those beside the set's file last, as its plans have them. */
function checked(record: TubeRecord, set: SetTypes | null, options: Options, io: Io): TubeRecord {
  const paths = [
    checksPath(io.env, options.in),
    ...(set === null ? [] : [checksPath(io.env, dirname(set.path))]),
  ]
  const read = paths.map((path) => readChecks(path))
  for (const { trouble } of read)
    if (trouble !== null) io.err(`slowglow tube: ${trouble}. Your checks are not shown.`)
  return withChecks(
    record,
    read.flatMap(({ checks }) => checks),
  )
}

function atPoint(found: TubeRecord, as: string, text: string, options: Options, io: Io): number {
  const json = options.json === true
  const section = sectionOf(found, options.section)
  if (section === null) {
    const names = found.sections.map((s) => s.name).join(', ')
    return refuse(io, json, {
      exit: exits.usage,
      where: `--section ${options.section ?? ''}`,
      what: `slowglow tube: ${found.type} has no section ${options.section ?? ''}.`,
      remedy: names === '' ? 'It has a heater only.' : `It has ${names}.`,
    })
  }
  if (section.model === null) {
    return refuse(io, json, {
      exit: exits.finding,
      where: found.type,
      what: `slowglow tube: the ${section.name} of the ${found.type} has no curves: ${section.why ?? 'too few published points'}.`,
      remedy:
        "Its ratings and typical operation are in its record (without --at). With your own sheet, define the type with its operating points under tube_types in the set's file.",
    })
  }
  const tied = options.triodeConnected === true
  if (tied && section.model.form !== 'screen') {
    return refuse(io, json, {
      exit: exits.usage,
      where: '--triode-connected',
      what: `slowglow tube: ${found.type} has no screen that could be tied to its plate.`,
      remedy: 'Leave --triode-connected out.',
    })
  }
  const at = readAt(text, section.model, tied)
  if (!at.ok) {
    return refuse(io, json, {
      exit: exits.usage,
      where: `--at ${text}`,
      what: `slowglow tube: --at ${text}: ${at.problem}`,
    })
  }
  if (options.json === true) printJson(io, atDocument(found, section, as, at.volts, tied))
  else io.out(atText(found, section, as, at.volts, tied))
  return exits.done
}

function sectionOf(record: TubeRecord, name: string | undefined): TubeRecord['sections'][number] | null {
  if (name !== undefined) return record.sections.find((s) => s.name === name) ?? null
  return record.sections.find((s) => s.model !== null) ?? record.sections[0] ?? null
}
