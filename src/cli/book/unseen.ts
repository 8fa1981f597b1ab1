import type { ColdState } from '../../book/index.js'
import { coverageOf } from '../../faults/index.js'
import { kindOf } from '../../files/index.js'
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
): ColdState {
  if (kindOf(resolve(cwd, file)).kind !== 'profile') return state
  const { plan, parts } = planFiles(file, undefined, cwd, env)
  if (parts !== null && parts.lifted !== null) return state
  if (plan === null || parts === null)
    return joined(state, {
      ...state.sheet,
      not_computed: [
        ...state.sheet.not_computed,
        `What ${file} does not notice: it makes no plan yet; slowglow plan says why.`,
      ],
    })
  const { hand_checks, faults } = coverageOf({ equipment: parts.equipment, bench: parts.bench, plan })
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
