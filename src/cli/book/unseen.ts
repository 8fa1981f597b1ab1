import type { ColdState } from '../../book/index.js'
import { type Coverage, coverageOf, type CoverageOf } from '../../faults/index.js'
import { kindOf, type Texts } from '../../files/index.js'
import { withUnseen, type Worksheet } from '../../worksheet/index.js'
import { resolve } from 'node:path'
import type { Io } from '../io.js'
import { planFiles } from '../plan-files.js'

/**
 * The sheet of a set that was named by a profile, with what the plan of that profile does not notice in time told at the checks
 * that find it. A set that was named by its own file has no plan to be blind.
 */
export function withBlindness(
  state: ColdState,
  file: string,
  { cwd, env }: Pick<Io, 'cwd' | 'env'>,
  texts?: Texts,
): ColdState {
  if (kindOf(resolve(cwd, file), texts).kind !== 'profile') return state
  const { plan, parts, files } = planFiles(file, undefined, cwd, env, texts)
  if (parts !== null && parts.lifted !== null) return state
  if (plan === null || parts === null)
    return joined(state, {
      ...state.sheet,
      not_computed: [
        ...state.sheet.not_computed,
        `What ${file} does not notice: it makes no plan yet; slowglow plan says why.`,
      ],
    })
  const { hand_checks, faults } = covered(files, { equipment: parts.equipment, bench: parts.bench, plan })
  const words = new Map(faults.map(({ fault, text }) => [fault, text]))
  return joined(
    state,
    withUnseen(
      state.sheet,
      plan.profile,
      hand_checks.map(({ part, faults: missed, burns }) => ({
        ...{ part, burns },
        faults: missed.map((fault) => words.get(fault) ?? fault),
      })),
    ),
  )
}

function joined(state: ColdState, sheet: Worksheet): ColdState {
  const checks = new Map(sheet.checks.map((check) => [check.item, check]))
  return {
    ...state,
    sheet,
    standing: state.standing.map((each) => ({ ...each, check: checks.get(each.item) ?? each.check })),
  }
}

let last: { readonly key: string; readonly coverage: Coverage } | null = null

/** Kept from one reading of the sheet to the next, and to the start of a run: the same files, and the same earlier runs, give the same. */
export function covered(files: Readonly<Record<string, string>>, of: CoverageOf): Coverage {
  const key = JSON.stringify([files, of.plan.profile, of.plan.learned ?? null])
  if (last?.key !== key) last = { key, coverage: coverageOf(of) }
  return last.coverage
}
