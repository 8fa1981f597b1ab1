import { resolve } from 'node:path'
import type { Io } from './io.js'

/** Where runs live: as the flag says, else as the setting SLOWGLOW_RUNS says, else `runs` in the working folder. */
export function runsFolder(flag: string | undefined, { cwd, env }: Pick<Io, 'cwd' | 'env'>): string {
  const setting = env['SLOWGLOW_RUNS']
  return resolve(cwd, flag ?? (setting === undefined || setting === '' ? 'runs' : setting))
}

export const runsHelp = 'folder of run files; unless given: the setting SLOWGLOW_RUNS, else ./runs'
