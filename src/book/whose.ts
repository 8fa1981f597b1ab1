import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { basename, dirname, extname, join, resolve } from 'node:path'

/* Which book is a set's own, from its file's name, the id and the place that it states, and what lies beside it. */

const ending = '.book'

/** What a set's file says of itself and its book. */
interface Named {
  readonly id?: string
  /** Where it lies, from the set's file; several files of one set share it so. */
  readonly book?: string
}

/**
 * Where the book of a set lies: where the file says, else beside it, under the id that it states, else under the file's own name.
 * One that was begun under that name before the id was written goes on there.
 */
export function bookPath(equipmentPath: string, { id, book }: Named = {}): string {
  const folder = dirname(equipmentPath)
  if (book !== undefined) return resolve(folder, book)
  const byFile = join(folder, `${basename(equipmentPath, extname(equipmentPath))}${ending}`)
  if (id === undefined) return byFile
  const byId = join(folder, `${id}${ending}`)
  return existsSync(byFile) && !existsSync(byId) ? byFile : byId
}

/** Where it cannot be told which book is a set's own, or whose readings stand in it: why, and what to do. Null where it is plain. */
export function bookDoubt(
  equipmentPath: string,
  set: Named & { readonly name: string },
): { readonly what: string; readonly remedy: string } | null {
  return twoBooks(equipmentPath, set) ?? shared(equipmentPath, set) ?? stray(equipmentPath, set)
}
type Doubt = ReturnType<typeof bookDoubt>

/** Books in the folder of a set without a book that no set's file there goes by: its own may be among them. */
function stray(equipmentPath: string, set: Named): Doubt {
  if (set.book !== undefined || existsSync(bookPath(equipmentPath, set))) return null
  const folder = dirname(equipmentPath)
  const open = filesOf(folder).filter((file) => file.endsWith(ending))
  if (open.length === 0) return null
  const called = new Set(
    setsIn(folder).flatMap(({ path, id, book }) => [
      basename(path, extname(path)),
      ...(id === undefined ? [] : [id]),
      ...(book === undefined ? [] : [basename(book, ending)]),
    ]),
  )
  const nobodys = open.filter((file) => !called.has(basename(file, ending)))
  const [first] = nobodys
  return first === undefined
    ? null
    : {
        what: `This set has no book of its own, and ${nobodys.join(', ')} in its folder belongs to no set's file there: was the file renamed?`,
        remedy: `If that is its book, write id: ${basename(first, ending)} into the set's file; if not, lay it in another folder.`,
      }
}

function twoBooks(equipmentPath: string, { id, book }: Named): Doubt {
  const folder = dirname(equipmentPath)
  if (book !== undefined) return elsewhere(equipmentPath, resolve(folder, book), id)
  if (id === undefined) return null
  const name = basename(equipmentPath, extname(equipmentPath))
  if (name !== id && existsSync(join(folder, name + ending)) && existsSync(join(folder, id + ending)))
    return {
      what: `This set has two books, ${name}${ending} and ${id}${ending}.`,
      remedy: 'Lay the one that is not its own in another folder.',
    }
  const same = setsIn(folder).filter((each) => each.id === id)
  return same.length > 1
    ? {
        what: `${same.map(({ path }) => basename(path)).join(' and ')} state the same id: ${id}.`,
        remedy: 'Give each set its own; several files of one set name its book instead (book: my-set.book).',
      }
    : null
}

/** A book that lies elsewhere: its folder is there, and beside the set's file lies no other. */
function elsewhere(equipmentPath: string, book: string, id: string | undefined): Doubt {
  if (!existsSync(dirname(book)))
    return {
      what: `The set's file says that its book is ${book}, and there is no folder ${dirname(book)}.`,
      remedy: 'Is the disk in that it lies on? Or correct book: in the file.',
    }
  const beside = [{}, ...(id === undefined ? [] : [{ id }])]
    .map((each) => bookPath(equipmentPath, each))
    .find((each) => each !== book && existsSync(each))
  return beside === undefined
    ? null
    : {
        what: `The set's file says that its book is ${book}, and ${basename(beside)} lies beside it.`,
        remedy: 'Lay the one that is not its own in another folder.',
      }
}

/**
 * Files of one set may lead to one book; those of another set may not: a chassis bond that was read of the one would count as
 * read of the other. Looked for beside the set's file and beside its book; what parts two sets is their name.
 */
function shared(equipmentPath: string, set: Named & { readonly name: string }): Doubt {
  const own = resolve(bookPath(equipmentPath, set))
  const here = dirname(resolve(equipmentPath))
  const others = [...new Set([here, dirname(own)])]
    .flatMap(setsIn)
    .filter(
      ({ path, name, ...named }) =>
        name !== null && name !== set.name && resolve(bookPath(path, named)) === own,
    )
  const [other] = others
  if (other === undefined) return null
  const called = (path: string): string => (dirname(path) === here ? basename(path) : path)
  return {
    what: `${basename(equipmentPath)} (${set.name}) and ${others.map(({ path, name }) => `${called(path)} (${name ?? ''})`).join(', ')} lead to one book, ${called(own)}: what was read of the one would count for the other.`,
    remedy:
      'Give each set a book of its own (id: or book: in its file). Where they are files of one set, give them one name.',
  }
}

function filesOf(folder: string): string[] {
  try {
    return readdirSync(folder)
  } catch {
    return []
  }
}

/** The sets' files of a folder, with what each states of itself; what cannot be told from its line alone is left out. */
function setsIn(folder: string): (Named & { readonly path: string; readonly name: string | null })[] {
  return filesOf(folder).flatMap((file) => {
    if (!/\.ya?ml$/i.test(file)) return []
    const path = join(folder, file)
    const text = textOf(path)
    if (!/^slowglow:[ \t]*["']?equipment\b/m.test(text)) return []
    const [name, id, book] = (['name', 'id', 'book'] as const).map((key) => stated(text, key))
    return [
      { path, name: name ?? null, ...(id !== undefined && { id }), ...(book !== undefined && { book }) },
    ]
  })
}

/** One line of plain text, quoted or not, without its remark; a text over several lines is not read here. */
function stated(text: string, key: string): string | undefined {
  const found = new RegExp(
    `^${key}:[ \\t]*(?:"([^"\\\\]*)"|'([^']*)'|([^"'>|&*#\\s].*?))[ \\t]*(?:[ \\t]#.*)?\\r?$`,
    'm',
  ).exec(text)
  return found?.[1] ?? found?.[2] ?? found?.[3]
}

function textOf(path: string): string {
  try {
    return readFileSync(path, 'utf8')
  } catch {
    return ''
  }
}
