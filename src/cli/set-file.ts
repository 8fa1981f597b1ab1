import { dirname, resolve } from 'node:path'
import { withOwnerChecks, type Equipment } from '../equipment/index.js'
import { kindOf, loadEquipment, loadProfile, type Texts } from '../files/index.js'
import { exits } from './exits.js'
import type { Io } from './io.js'
import { placed, shown } from './problems.js'
import type { Refusal } from './refuse.js'
import { checksPath, readChecks } from './tube/checks-file.js'

/** A set by its own file, or by a profile that names it. */
export interface SetFile {
  readonly equipment: Equipment
  readonly path: string
}

export const bookHelp =
  'another book than the set’s own; runs look only for its own: beside its file, or where book: in it says'

/** The book by the name that was given, as `coldState` takes it. */
export function bookAt(
  { book }: { readonly book?: string | undefined },
  { cwd }: Pick<Io, 'cwd'>,
): { readonly bookFile?: string } {
  return book === undefined ? {} : { bookFile: resolve(cwd, book) }
}

/** The set that a command is about, with its owner's checks of tube figures as a plan has them; why there is none. */
export function setFile(
  file: string,
  { cwd, env }: Pick<Io, 'cwd' | 'env'>,
  texts?: Texts,
): SetFile | Refusal {
  const path = resolve(cwd, file)
  const { kind, problems } = kindOf(path, texts)
  const fail = (what: string, more: Partial<Refusal> = {}): Refusal => ({
    exit: exits.finding,
    where: shown(path, cwd),
    what,
    ...more,
  })
  if (kind === 'bench')
    return fail(`${file} is a bench file.`, { exit: exits.usage, remedy: "Name the set's file." })
  if (kind === null)
    return fail(`${file} cannot be read as a set's file.`, { problems: placed(problems, cwd) })
  const profile = kind === 'profile' ? loadProfile(path, texts) : null
  if (profile !== null && profile.value === null)
    return fail('The profile names no set that can be found.', {
      remedy: 'Mend what is named in it, or name the set’s own file.',
      problems: placed(profile.problems, cwd),
    })
  const at = profile?.value == null ? path : resolve(dirname(path), profile.value.equipment)
  const loaded = loadEquipment(at, texts)
  if (loaded.value === null || loaded.problems.some(({ severity }) => severity === 'error'))
    return fail("The set's file has errors.", {
      remedy: 'Mend what is named in it.',
      problems: placed(loaded.problems, cwd),
    })
  const checks = [checksPath(env), checksPath(env, dirname(at))].flatMap((each) => readChecks(each).checks)
  return { equipment: withOwnerChecks(loaded.value, checks), path: at }
}
