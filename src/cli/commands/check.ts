import { resolve } from 'node:path'
import { groundGraph } from '../../bench/index.js'
import { bookDoubt } from '../../book/index.js'
import {
  kindOf,
  loadAll,
  loadEquipment,
  loadMeasuredBench,
  type Kind,
  type Problem,
  type Texts,
} from '../../files/index.js'
import { biasHangsOn, makePlan } from '../../plan/index.js'
import { createReport } from '../../quantities/index.js'
import { reformPlan } from '../../reform/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { placed, problemText, shown } from '../problems.js'
import type { Register } from './index.js'

/** `slowglow check FILE…`: everything wrong in the files, at once, each with its place and what would be right. */
export const registerCheck: Register = (program, io) => {
  program
    .command('check')
    .description('validate equipment, bench and profile files; a profile is checked with all it names')
    .argument('<file...>', 'YAML files; what each is, its first key says')
    .option('--json', 'one JSON document on standard output')
    .action((files: string[], options: { json?: boolean }) => {
      process.exitCode = check(files, options.json === true, io)
    })
}

/** Returns the exit code. */
export function check(files: readonly string[], json: boolean, io: Io): number {
  const { checked, problems } = checkFiles(files, io.cwd)
  const errors = problems.filter(({ severity }) => severity === 'error').length
  if (json) printJson(io, { ok: errors === 0, files: checked, problems })
  else {
    for (const problem of placed(problems, io.cwd)) io.out(problemText(problem))
    io.out(summary(checked, errors, problems.length - errors))
  }
  return errors === 0 ? exits.done : exits.finding
}

export interface Checked {
  readonly file: string
  readonly kind: Kind | null
}

/** All problems of these files and of what they name; paths shown relative to `cwd`. Each problem once. */
export function checkFiles(
  files: readonly string[],
  cwd: string,
  texts?: Texts,
): { readonly checked: readonly Checked[]; readonly problems: readonly Problem[] } {
  const checked = new Map<string, Kind | null>()
  const problems = new Map<string, Problem>()
  const add = (found: readonly Problem[]): void => {
    for (const problem of found) {
      const file = shown(problem.file, cwd)
      problems.set([file, problem.line, problem.column, problem.what].join('\n'), { ...problem, file })
    }
  }
  const equipments = new Map<string, ReturnType<typeof loadEquipment>>()
  const benches = new Map<string, ReturnType<typeof loadMeasuredBench>>()
  for (const file of files) {
    const path = resolve(cwd, file)
    const { kind, problems: unreadable } = kindOf(path, texts)
    checked.set(shown(path, cwd), kind)
    if (kind === null) add(unreadable)
    if (kind === 'equipment') equipments.set(path, loadEquipment(path, texts))
    if (kind === 'bench') benches.set(path, loadMeasuredBench(path, texts))
    if (kind === 'profile') {
      const all = loadAll(path, undefined, texts)
      add(all.problems)
      if (all.value !== null && all.problems.every(({ severity }) => severity !== 'error')) {
        const { profile, equipment, bench } = all.value
        // What lies in how the files fit together stands at the head of the profile that joins them.
        const place = { file: path, line: 1, column: 1, path: '' }
        const made =
          profile.reform === null
            ? makePlan(profile, equipment, bench)
            : reformPlan(profile, equipment, bench)
        add(made.problems.map((each) => ({ ...each, ...place })))
      }
      if (all.equipment !== null) add(ofItsBook(all.equipment))
      for (const loaded of [all.equipment, all.bench, all.benchEquipment])
        if (loaded !== null && !checked.has(shown(loaded.path, cwd)))
          checked.set(shown(loaded.path, cwd), loaded === all.bench ? 'bench' : 'equipment')
    }
  }
  for (const loaded of [...equipments.values(), ...benches.values()]) add(loaded.problems)
  for (const loaded of benches.values()) add(ofItsDeadMen(loaded))
  for (const loaded of equipments.values()) add(ofItsBook(loaded))
  // Files given by themselves are judged together too; which set is meant is plain only when one is given.
  const [equipment, another] = [...equipments.values()]
  if (equipment?.value != null && another === undefined)
    for (const bench of benches.values())
      if (bench.value !== null)
        add(groundGraph(equipment.value, bench.value, { equipment: equipment.where, bench: bench.where }))
  return { checked: [...checked].map(([file, kind]) => ({ file, kind })), problems: [...problems.values()] }
}

/** A set whose book is in doubt gets no power: told with its file, where the file says something of it. */
function ofItsBook({ value, path, where }: ReturnType<typeof loadEquipment>): readonly Problem[] {
  const doubt = value === null ? null : bookDoubt(path, value)
  if (value === null || doubt === null) return []
  const report = createReport(where)
  const key = value.book !== undefined ? 'book' : value.id !== undefined ? 'id' : 'name'
  report.error([key], doubt.what, doubt.remedy)
  return report.problems
}

/** Bias that hangs on which outputs a dead-man takes: a plan says so, and so does a bench file by itself. */
function ofItsDeadMen({ value, where }: ReturnType<typeof loadMeasuredBench>): readonly Problem[] {
  const report = createReport(where)
  if (value === null) return []
  for (const port of Object.keys(value.supplies))
    for (const { severity, what, remedy } of biasHangsOn(value, port)) {
      const at = ['supplies', port, 'dialect']
      if (severity === 'error') report.error(at, what, remedy, 'key')
      else report.warn(at, what, remedy, 'key')
    }
  return report.problems
}

function summary(checked: readonly Checked[], errors: number, warnings: number): string {
  const files = `${checked.length} file${checked.length === 1 ? '' : 's'}`
  const warned = warnings === 0 ? '' : `, ${warnings} warning${warnings === 1 ? '' : 's'}`
  if (errors === 0) return `${files} checked: nothing wrong${warned}.`
  return `${files} checked: ${errors} thing${errors === 1 ? '' : 's'} wrong${warned}. Nothing is energised with a file that is wrong.`
}
