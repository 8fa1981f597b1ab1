import { resolve } from 'node:path'
import type { Bench } from '../../bench/index.js'
import type { Equipment } from '../../equipment/index.js'
import {
  createDiagnoser,
  type Diagnoser,
  type DiagnoserOf,
  type Diagnosis,
  endsOf,
  type Fault,
  faultsOf,
  type Reading,
} from '../../faults/index.js'
import { fromText } from '../../files/index.js'
import { parseQuantity } from '../../quantities/index.js'
import type { RunReader } from '../../record/index.js'
import { diagnosisText } from '../diagnosis-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { priorOption, priorsOf } from '../priors.js'
import { type Refusal, refuse } from '../refuse.js'
import { learnedFor } from '../learned.js'
import { seenIn } from '../seen-in.js'
import { withRun } from '../with-run.js'
import type { Register } from './index.js'

interface Options {
  readonly reading: readonly string[]
  readonly prior: readonly string[]
  readonly fails: boolean
  readonly json?: boolean
}

/** `slowglow diagnose RUN`: what is wrong, and where the meter goes next. */
export const registerDiagnose: Register = (program, io) => {
  program
    .command('diagnose')
    .description('ranked causes of what a run measured, and the next reading that parts them best')
    .argument('<run>', 'run file, or a piece of its name among the runs')
    .option(
      '--reading <place=value>',
      'a reading taken since, volts or ohms against chassis or between two places: "v8 cathode=14.2 V at step 12", "v8 cathode=390 Ω", "B plus to v8 plate=4.1 V", "v8 cathode=14.2 V ± 0.3 V"; may be given again',
      (text: string, all: readonly string[]) => [...all, text],
      [],
    )
    .addOption(priorOption())
    .option('--fails', 'the set fails all the same: look for a next reading though nothing shows', false)
    .option('--json', 'one JSON document on standard output')
    .action((run: string, options: Options) => {
      process.exitCode = withRun(run, options.json === true, io, (reader) =>
        diagnose(reader, run, options, io),
      )
    })
}

function diagnose(
  reader: RunReader,
  run: string,
  { reading, prior, fails, json = false }: Options,
  io: Io,
): Exit {
  const found = diagnosisIn(reader, run, reading, { priors: prior, cwd: io.cwd, fails })
  if ('exit' in found) return refuse(io, json, found)
  if (json) printJson(io, { run: found.run, ...found.diagnosis })
  else io.out(diagnosisText(found.run, found.diagnosis, fails, found.set))
  return exits.done
}

interface More {
  /** `WHAT=FACTOR`, as a person writes it. */
  readonly priors?: readonly string[]
  /** Where the files of the run were named from: the set's book lies beside the set's. Without it nothing is learned from it. */
  readonly cwd?: string
  /** The set is known to fail: a next reading is looked for though nothing shows. */
  readonly fails?: boolean
}

/** What a recorded run says is wrong, with readings that were taken since, as a person writes them; why nothing can be said. */
export function diagnosisIn(
  reader: RunReader,
  run: string,
  written: readonly string[],
  { priors = [], cwd, fails = false }: More = {},
):
  | {
      readonly run: string
      /** The set's file, as the run named it. */
      readonly set: string
      readonly equipment: Equipment
      readonly diagnosis: Diagnosis
    }
  | Refusal {
  const known = reader.known()
  const files = known === null ? null : filesIn(known.files, known.plan)
  if (known === null || files === null)
    return {
      exit: exits.recordNotAvailable,
      where: reader.path,
      what: 'This record does not hold the files of its set and bench, so nothing can be reckoned.',
    }
  const readings: Reading[] = []
  for (const text of written) {
    const made = readingOf(text, files.equipment)
    if ('what' in made) return { exit: exits.usage, where: run, ...made }
    readings.push(made)
  }
  const asked = priorsOf(priors, files.equipment, run)
  if ('exit' in asked) return asked
  const { equipment, bench, equipment_path } = files
  const book =
    cwd === undefined ? null : learnedFor(known.plan, equipment, resolve(cwd, equipment_path), known.started)
  const diagnose = diagnoserFor(`${known.run} ${reader.path} ${JSON.stringify(known.files)}`, {
    ...{ equipment, bench, plan: known.plan },
    weight: (fault: Fault) => asked.weight({ ...fault, weight: book?.weight(fault) ?? fault.weight }),
    ...(book?.earlier !== undefined && { earlier: book.earlier }),
    learned: [...(book?.told ?? []), ...asked.told],
  })
  return {
    run: known.run,
    set: equipment_path,
    equipment,
    diagnosis: diagnose(seenIn(reader), readings, { fails }),
  }
}

let last: { readonly key: string; readonly diagnose: Diagnoser } | null = null

/** Kept from one reading to the next of the same run, with all that was solved for it; what the book says since makes a new one. */
function diagnoserFor(run: string, of: DiagnoserOf): Diagnoser {
  const weights = faultsOf(of.equipment).map((fault) => of.weight?.(fault) ?? fault.weight)
  const key = JSON.stringify([run, weights, of.earlier ?? null, of.learned ?? []])
  if (last?.key !== key) last = { key, diagnose: createDiagnoser(of) }
  return last.diagnose
}

/** Set and bench as they were when the run was made. */
function filesIn(
  files: Readonly<Record<string, string>>,
  plan: { readonly equipment: string; readonly bench: string },
): { readonly equipment: Equipment; readonly equipment_path: string; readonly bench: Bench } | null {
  let equipment: Equipment | null = null
  let equipment_path = ''
  let bench: Bench | null = null
  for (const [path, text] of Object.entries(files)) {
    if (/^slowglow:\s*equipment/m.test(text)) {
      const { value } = fromText(text, path, 'equipment')
      if (value?.name === plan.equipment && equipment === null) {
        equipment = value
        equipment_path = path
      }
    }
    if (/^slowglow:\s*bench/m.test(text)) {
      const { value } = fromText(text, path, 'bench')
      if (value?.name === plan.bench) bench ??= value
    }
  }
  return equipment === null || bench === null ? null : { equipment, equipment_path, bench }
}

/** A reading as a person writes it. */
export function readingOf(
  text: string,
  equipment: Equipment,
): Reading | { readonly what: string; readonly remedy: string } {
  const form =
    'Write PLACE=VALUE with its unit: "v8 cathode=14.2 V at step 12", "v8 cathode=390 Ω", "B plus to v8 plate=4.1 V"; with the most that it may be off by where that is not as your meter in the bench file: "v8 cathode=14.2 V ± 0.3 V", "v8 cathode=390 Ω ± 5 %".'
  const cut = text.lastIndexOf('=')
  const place = text.slice(0, Math.max(0, cut)).trim()
  const [told = '', number] = text
    .slice(cut + 1)
    .trim()
    .split(/\s+at step\s+/)
  const [value = '', within] = told.split(/±|\+\/?-/).map((each) => each.trim())
  if (cut < 0 || place === '') return { what: `"${text}" is no reading.`, remedy: form }
  const nodes = nodesOfParts(equipment)
  if (endsOf(place, equipment.chassis_node, (node) => nodes.has(node)) === null) {
    const near = [...nodes].filter((node) => node.toLowerCase().startsWith(place.slice(0, 2).toLowerCase()))
    return {
      what: `${equipment.name} has no place "${place}".`,
      remedy: `Places are the nodes of its file${near.length > 0 ? `: ${near.slice(0, 12).join(', ')}` : ''}.`,
    }
  }
  const volts = parseQuantity(value, 'V')
  if (number !== undefined && !/^\d+$/.test(number)) return { what: `"${number}" is no step.`, remedy: form }
  const step = number === undefined ? {} : { step: Number(number) }
  const ohms = parseQuantity(value, 'Ω')
  const [unit, read] = volts.ok && /V\s*$/.test(value) ? (['V', volts] as const) : (['Ω', ohms] as const)
  if (!read.ok) return { what: `"${value}" is neither volts nor ohms.`, remedy: form }
  const off = within === undefined ? null : offOf(within, unit, read.value)
  if (Number.isNaN(off))
    return { what: `"± ${within ?? ''}" says of no reading how far it may be off.`, remedy: form }
  return { place, unit, value: read.value, ...(off !== null && { off }), ...(unit === 'V' && step) }
}

/** What somebody says that a reading may be off by at most, in its unit; not a number where it is none, or nothing at all. */
function offOf(text: string, unit: 'V' | 'Ω', value: number): number {
  const part = text.endsWith('%') ? parseQuantity(text, 'ratio') : null
  const own = parseQuantity(text, unit)
  const off =
    part === null ? (own.ok ? own.value : Number.NaN) : part.ok ? part.value * Math.abs(value) : Number.NaN
  return off > 0 ? off : Number.NaN
}

function nodesOfParts(equipment: Equipment): Set<string> {
  const nodes = new Set<string>()
  for (const part of Object.values(equipment.parts)) {
    if ('between' in part) for (const node of part.between ?? []) nodes.add(node)
    if ('ends' in part) for (const node of [...part.ends, part.wiper]) nodes.add(node)
  }
  for (const { sections } of Object.values(equipment.tubes))
    for (const { plate, screen, grid, cathode } of sections)
      for (const node of [plate, screen, grid, cathode]) if (node !== undefined) nodes.add(node)
  return nodes
}
