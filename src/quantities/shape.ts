import * as z from 'zod'
import { formatQuantity } from './format.js'
import { parseQuantity, quantityPattern } from './parse.js'
import { nearest, own, type Path, type Report } from './problem.js'
import { unitWords, type Unit } from './units.js'

/*
 * Building blocks of the file shapes. A shape's message is two lines: what is wrong, then what would be right.
 * Every block carries a description, so that exported JSON Schemas explain themselves.
 */
const told = (what: string, remedy: string): string => `${what}\n${remedy}`
const written = (input: unknown): string => {
  if (input === null) return 'nothing'
  if (Array.isArray(input)) return 'a list'
  if (typeof input === 'string' || typeof input === 'number' || typeof input === 'boolean')
    return `'${String(input).slice(0, 60)}'`
  return 'a group of keys'
}

interface Bounds {
  /** Lowest and highest allowed value. */
  readonly least?: number
  readonly most?: number
  /** Must be greater than this. */
  readonly above?: number
}

/** A quantity with its unit, as text; gives the value in the unit. */
export function quantity(unit: Unit, about: string, bounds: Bounds = {}) {
  const wrong = (input: unknown): string => {
    if (input === undefined)
      return told(
        `missing: ${unitWords[unit].measures} is wanted here (${about})`,
        `write for example ${unitWords[unit].example}`,
      )
    if (typeof input !== 'string' && typeof input !== 'number')
      return told(
        `${written(input)} stands where ${unitWords[unit].measures} is wanted`,
        `write for example ${unitWords[unit].example}`,
      )
    const read = parseQuantity(input, unit)
    return read.ok
      ? told(
          `${written(input)} is not ${unitWords[unit].measures}`,
          `write for example ${unitWords[unit].example}`,
        )
      : told(read.problem, read.remedy)
  }
  const text = z
    .string({ error: (issue) => wrong(issue.input) })
    .regex(quantityPattern(unit), { error: (issue) => wrong(issue.input) })
    .describe(`${about} (${unitWords[unit].measures}, such as ${unitWords[unit].example})`)
  return text.transform((input, context): number => {
    const read = parseQuantity(input, unit)
    if (!read.ok) {
      context.addIssue({ code: 'custom', message: told(read.problem, read.remedy) })
      return z.NEVER
    }
    const trouble = outside(read.value, unit, bounds)
    if (trouble !== null) {
      context.addIssue({
        code: 'custom',
        message: told(`${written(input)} ${trouble}`, `${about}: write a value within these bounds`),
      })
      return z.NEVER
    }
    return read.value
  })
}

function outside(value: number, unit: Unit, { least, most, above }: Bounds): string | null {
  if (above !== undefined && !(value > above)) return `must be more than ${formatQuantity(above, unit)}`
  if (least !== undefined && value < least) return `is below ${formatQuantity(least, unit)}`
  if (most !== undefined && value > most) return `is above ${formatQuantity(most, unit)}`
  return null
}

/** A ratio: `5 %` or a number. */
export function ratio(about: string, least = 0, most = 1) {
  const wrong = (input: unknown): string => {
    if (input === undefined)
      return told(`missing: a ratio is wanted here (${about})`, 'write for example 5 %')
    const read = typeof input === 'string' ? parseQuantity(input, 'ratio') : null
    return read?.ok === false
      ? told(read.problem, read.remedy)
      : told(`${written(input)} is not a ratio`, 'write for example 5 %')
  }
  return z
    .union(
      [z.number(), z.string().regex(quantityPattern('ratio'), { error: (issue) => wrong(issue.input) })],
      { error: (issue) => wrong(issue.input) },
    )
    .describe(`${about} (a ratio, such as 5 %)`)
    .transform((input, context): number => {
      const read = parseQuantity(input, 'ratio')
      const trouble = read.ok ? outside(read.value, 'ratio', { least, most }) : null
      if (read.ok && trouble === null) return read.value
      context.addIssue({
        code: 'custom',
        message: read.ok
          ? told(`${written(input)} ${trouble ?? ''}`, `${about}: write a value within these bounds`)
          : told(read.problem, read.remedy),
      })
      return z.NEVER
    })
}

export function text(about: string, longest = 2000) {
  return z
    .string({
      error: (issue) =>
        issue.input === undefined
          ? told(`missing: text is wanted here (${about})`, 'add it')
          : told(
              `${written(issue.input)} stands where text is wanted (${about})`,
              'write text; put it in quotes if it looks like a number',
            ),
    })
    .min(1, { error: told('nothing is written here', about) })
    .max(longest, { error: told('this text is too long', `keep it under ${longest} characters`) })
    .describe(about)
}

/** Names of rails, nodes, parts, modes: readable, one line, nothing that a program could mistake. */
const namePattern = /^[\p{L}\p{N}][\p{L}\p{N} ._+\-/()&']{0,59}$/u
const nameRemedy =
  'begin with a letter or digit; then letters, digits, spaces and . _ + - / ( ) are allowed, 60 at most'
export function name(about: string) {
  return z
    .string({
      error: (issue) =>
        issue.input === undefined
          ? told(`missing: a name is wanted here (${about})`, 'add it')
          : told(
              `${written(issue.input)} stands where a name is wanted (${about})`,
              'write a name; put it in quotes if it looks like a number',
            ),
    })
    .regex(namePattern, { error: (issue) => told(`${written(issue.input)} is no usable name`, nameRemedy) })
    .describe(about)
}

export function choice<const T extends readonly [string, ...string[]]>(values: T, about: string) {
  return z
    .enum(values, {
      error: (issue) => {
        const all = values.join(', ')
        if (issue.input === undefined) return told(`missing: ${about}`, `write one of: ${all}`)
        const near = typeof issue.input === 'string' ? nearest(issue.input, values) : []
        return told(
          `${written(issue.input)} is not one of: ${all} (${about})`,
          near[0] === undefined ? `write one of: ${all}` : `did you mean '${near[0]}'?`,
        )
      },
    })
    .describe(about)
}

export function flag(about: string) {
  return z
    .boolean({
      error: (issue) =>
        issue.input === undefined
          ? told(`missing: ${about}`, 'write true or false')
          : told(`${written(issue.input)} is neither true nor false (${about})`, 'write true or false'),
    })
    .describe(about)
}

export function count(about: string, least: number, most: number) {
  const wrong = (input: unknown): string =>
    input === undefined
      ? told(
          `missing: a whole number is wanted here (${about})`,
          `write a whole number from ${least} to ${most}`,
        )
      : told(
          `${written(input)} is not a whole number from ${least} to ${most} (${about})`,
          'write it without a unit',
        )
  return z
    .number({ error: (issue) => wrong(issue.input) })
    .int({ error: (issue) => wrong(issue.input) })
    .min(least, { error: (issue) => wrong(issue.input) })
    .max(most, { error: (issue) => wrong(issue.input) })
    .describe(about)
}

export function list<T extends z.ZodType>(of: T, about: string, most = 500) {
  return z
    .array(of, {
      error: (issue) =>
        issue.input === undefined
          ? told(
              `missing: a list is wanted here (${about})`,
              'write it as [one, two] or one item a line after a dash',
            )
          : told(
              `${written(issue.input)} stands where a list is wanted (${about})`,
              'write it as [one, two] or one item a line after a dash',
            ),
    })
    .max(most, { error: told('this list is too long', `keep it under ${most} items`) })
    .describe(about)
}

/** Two names of nodes. */
export function nodes(about: string) {
  const wrong = (input: unknown): string =>
    told(
      input === undefined ? `missing: ${about}` : `${written(input)} is not a pair of nodes (${about})`,
      'write the two nodes as [first node, second node]',
    )
  return z.tuple([name('a node'), name('a node')], { error: (issue) => wrong(issue.input) }).describe(about)
}

/** A group of known keys; any other key is refused, with the nearest known one. */
export function group<S extends z.ZodRawShape>(shape: S, about: string) {
  const known = Object.keys(shape)
  return z
    .strictObject(shape, {
      error: (issue) => {
        if (issue.code === 'unrecognized_keys')
          return issue.keys
            .slice(0, 50)
            .map((key) => unknownKey(key, known))
            .join('\n\n')
        return issue.input === undefined
          ? told(`missing: ${about}`, `write a group with the keys: ${known.join(', ')}`)
          : told(
              `${written(issue.input)} stands where a group of keys is wanted (${about})`,
              `write the keys: ${known.join(', ')}`,
            )
      },
    })
    .describe(about)
}

function unknownKey(key: string, known: readonly string[]): string {
  if (key.includes(' ') && nearest(key, known).length === 0)
    return told(
      `'${key.slice(0, 60)}' is not known here`,
      `if it belongs to the text before it, put text with a comma in quotes; known here: ${known.join(', ')}`,
    )
  const near = nearest(key, known)[0]
  return told(
    `'${key.slice(0, 60)}' is not known here`,
    near === undefined
      ? `known here: ${known.join(', ')}`
      : `did you mean '${near}'? (known here: ${known.join(', ')})`,
  )
}

/** Names with an entry each. */
export function table<T extends z.ZodType>(of: T, about: string) {
  return z
    .record(z.string(), of, {
      error: (issue) =>
        told(
          issue.input === undefined
            ? `missing: ${about}`
            : `${written(issue.input)} stands where names with their entries are wanted (${about})`,
          'write one name a line, followed by a colon and its entry',
        ),
    })
    .describe(about)
}

/** What could be read of a file's top level: absent where it was wrong, entry by entry in tables. */
export interface Rough<S extends z.ZodRawShape> {
  readonly value: { readonly [K in keyof S]?: z.output<S[K]> }
  /** Entries of tables that stand in the file but could not be read: `part R12` is named, if broken. */
  readonly broken: ReadonlySet<string>
}

const most = 2000

/**
 * Reads a file's top level key by key and its tables entry by entry, so that one wrong value hides no other:
 * meaning is then checked over whatever could be read. All problems go to the report.
 */
export function readRough<S extends z.ZodRawShape>(
  shape: z.ZodObject<S>,
  raw: unknown,
  report: Report,
): Rough<S> {
  const broken = new Set<string>()
  const value: Record<string, unknown> = {}
  if (typeof raw !== 'object' || raw === null || Array.isArray(raw)) {
    report.error(
      [],
      `the file holds ${written(raw)}, not keys with values`,
      `write the keys: ${Object.keys(shape.shape).join(', ')}`,
    )
    return { value: {}, broken }
  }
  const given = raw as Readonly<Record<string, unknown>>
  const strange = Object.keys(given).filter((key) => !Object.hasOwn(shape.shape, key))
  for (const key of strange.slice(0, 50)) {
    const [what = '', remedy = ''] = unknownKey(key, Object.keys(shape.shape)).split('\n')
    report.error([key], what, remedy, 'key')
  }
  for (const [key, field] of Object.entries(shape.shape)) {
    const inner = tableOf(field as z.ZodType)
    const at = own(given, key)
    if (inner === null || typeof at !== 'object' || at === null || Array.isArray(at)) {
      const read = (field as z.ZodType).safeParse(at)
      if (read.success) value[key] = read.data
      else tell(read.error, [key], report)
      continue
    }
    const entries: [string, unknown][] = []
    const all = Object.entries(at as Readonly<Record<string, unknown>>)
    if (all.length > most)
      report.error([key], `there are ${all.length} entries here`, `keep it under ${most}`)
    for (const [entry, content] of all.slice(0, most)) {
      if (!namePattern.test(entry)) {
        report.error([key, entry], `'${entry.slice(0, 60)}' is no usable name`, nameRemedy, 'key')
        continue
      }
      const read = inner.safeParse(content)
      if (read.success) entries.push([entry, read.data])
      else {
        broken.add(`${key}.${entry}`)
        tell(read.error, [key, entry], report)
      }
    }
    value[key] = Object.fromEntries(entries)
  }
  return { value: value as Rough<S>['value'], broken }
}

/** The element shape of a table, through `optional` and `default`. */
function tableOf(schema: z.ZodType): z.ZodType | null {
  if (schema instanceof z.ZodOptional || schema instanceof z.ZodDefault)
    return tableOf(schema.unwrap() as z.ZodType)
  return schema instanceof z.ZodRecord ? (schema.valueType as z.ZodType) : null
}

/**
 * Where a value may be one of several kinds, what is wrong with it as the kind it is: `[250 mA]` is a list whose item is
 * in the wrong unit, not "neither a target nor a list of targets". The shape's own sentence where it is of no kind.
 */
function meant(issue: z.core.$ZodIssue): z.core.$ZodIssue[] {
  if (issue.code !== 'invalid_union') return [issue]
  const ofItsKind = issue.errors.filter((issues) =>
    issues.every(
      ({ code, path }) => path.length > 0 || (code !== 'invalid_type' && code !== 'invalid_value'),
    ),
  )
  const [only, ...others] = ofItsKind
  if (only === undefined || others.length > 0) return [issue]
  return only.flatMap((inner) => meant({ ...inner, path: [...issue.path, ...inner.path] }))
}

function tell(error: z.ZodError, base: Path, report: Report): void {
  for (const issue of error.issues.flatMap(meant)) {
    const path = [...base, ...issue.path.map((part) => (typeof part === 'symbol' ? String(part) : part))]
    if (issue.code === 'unrecognized_keys') {
      issue.message.split('\n\n').forEach((message, i) => {
        const [what = '', remedy = ''] = message.split('\n')
        report.error([...path, issue.keys[i] ?? ''], what, remedy, 'key')
      })
      continue
    }
    const [what = '', remedy = 'see the description of this file'] = issue.message.split('\n')
    report.error(path, what, remedy)
  }
}
