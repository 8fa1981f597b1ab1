import { resolve } from 'node:path'
import { dataFolder, holdsRuns } from '../record/index.js'
import type { Io } from './io.js'

type Where = Pick<Io, 'cwd' | 'env'>

/**
 * Where runs live: as the flag says, else as the setting SLOWGLOW_RUNS says, else `runs` in the working folder where that holds
 * runs already, else the owner's data folder. Where the system names no such folder it is `runs` in the working folder.
 */
export function runsFolder(flag: string | undefined, { cwd, env }: Where): string {
  const setting = env['SLOWGLOW_RUNS'] ?? ''
  if (flag !== undefined || setting !== '') return resolve(cwd, flag ?? setting)
  const here = resolve(cwd, 'runs')
  return holdsRuns(here) ? here : (dataFolder(env) ?? here)
}

/** The other places where runs may lie unless one is named, such as those made before there was a data folder. */
export function otherRunsFolders(folder: string, { cwd, env }: Where): string[] {
  return [resolve(cwd, 'runs'), dataFolder(env)].flatMap((each) =>
    each !== null && each !== folder && holdsRuns(each) ? [each] : [],
  )
}

/** All of them, the one where a new run goes first. */
export function runsFolders(flag: string | undefined, where: Where): string[] {
  const folder = runsFolder(flag, where)
  return [folder, ...otherRunsFolders(folder, where)]
}

export const runsHelp =
  'folder of run files; unless given: the setting SLOWGLOW_RUNS, else ./runs where it holds runs, else your data folder'
