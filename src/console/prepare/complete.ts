import type { CompletionContext, CompletionResult } from '@codemirror/autocomplete'
import * as z from 'zod'

/** As much of a JSON Schema as completion reads. */
export interface Schema {
  readonly description?: string | undefined
  readonly properties?: Readonly<Record<string, Schema>> | undefined
  readonly additionalProperties?: Schema | boolean | undefined
  readonly items?: Schema | boolean | undefined
  readonly anyOf?: readonly Schema[] | undefined
  readonly oneOf?: readonly Schema[] | undefined
  readonly allOf?: readonly Schema[] | undefined
  readonly enum?: readonly unknown[] | undefined
  readonly const?: unknown
  readonly $ref?: string | undefined
  readonly $defs?: Readonly<Record<string, Schema>> | undefined
}
export const schemaShape: z.ZodType<Schema> = z.looseObject({
  description: z.string().optional(),
  get properties() {
    return z.record(z.string(), schemaShape).optional()
  },
  get additionalProperties() {
    return z.union([z.boolean(), schemaShape]).optional()
  },
  get items() {
    return z.union([z.boolean(), schemaShape]).optional()
  },
  get anyOf() {
    return z.array(schemaShape).optional()
  },
  get oneOf() {
    return z.array(schemaShape).optional()
  },
  get allOf() {
    return z.array(schemaShape).optional()
  },
  enum: z.array(z.unknown()).optional(),
  $ref: z.string().optional(),
  get $defs() {
    return z.record(z.string(), schemaShape).optional()
  },
})

/** Keys and values that may stand at the cursor, each with what it is for. */
export function complete(context: CompletionContext, schema: Schema | null): CompletionResult | null {
  if (schema === null) return null
  const before = context.state.doc.sliceString(0, context.pos)
  const { path, key, word } = placeAt(before)
  if (word === '' && !context.explicit) return null
  const here = path.reduce<readonly Schema[]>(
    (all, step) => all.flatMap((each) => into(each, step, schema)),
    variants(schema, schema),
  )
  const from = context.pos - word.length
  if (key !== null) {
    const values = here.flatMap((each) => into(each, key, schema)).flatMap(valuesOf)
    return { from, options: [...new Set(values)].map((label) => ({ label, type: 'enum' })) }
  }
  const keys = new Map<string, string>()
  for (const { properties } of here)
    for (const [name, { description }] of Object.entries(properties ?? {})) keys.set(name, description ?? '')
  return {
    from,
    options: [...keys].map(([label, info]) => ({
      label,
      apply: `${label}: `,
      type: 'property',
      ...(info !== '' && { info }),
    })),
  }
}

/** What a schema may be, its references followed; deep ones are cut, since a file's own depth is bounded. */
function variants(schema: Schema, root: Schema, deep = 0): readonly Schema[] {
  if (deep > 8) return []
  const named = schema.$ref === undefined ? undefined : root.$defs?.[schema.$ref.replace('#/$defs/', '')]
  const inner = [
    ...(schema.anyOf ?? []),
    ...(schema.oneOf ?? []),
    ...(schema.allOf ?? []),
    ...(named === undefined ? [] : [named]),
  ]
  return [schema, ...inner.flatMap((each) => variants(each, root, deep + 1))]
}

function into(schema: Schema, step: string, root: Schema): readonly Schema[] {
  const found =
    step === '-'
      ? schema.items
      : schema.properties !== undefined && Object.hasOwn(schema.properties, step)
        ? schema.properties[step]
        : schema.additionalProperties
  return typeof found === 'object' ? variants(found, root) : []
}

function valuesOf(schema: Schema): string[] {
  const given = [...(schema.enum ?? []), ...(schema.const === undefined ? [] : [schema.const])]
  return given.flatMap((each) => (typeof each === 'string' || typeof each === 'number' ? [String(each)] : []))
}

interface Place {
  /** Keys from the top; `-` for an element of a list. */
  readonly path: readonly string[]
  /** Key whose value is being written; null where a key is. */
  readonly key: string | null
  readonly word: string
}

/** Where the end of this text stands, by indentation and by the braces of its last line. */
export function placeAt(text: string): Place {
  const lines = text.split('\n')
  const last = lines.pop() ?? ''
  const path: string[] = []
  let indent = /^ */.exec(last)?.[0].length ?? 0
  const own = /^( *)((?:- +)*)/.exec(last)
  const dashes = ((own?.[2] ?? '').match(/-/g) ?? []).length
  for (const line of lines.toReversed()) {
    if (/^\s*(#|$)/.test(line)) continue
    const match = /^( *)((?:- +)*)(?:("?)([^"':{}[\],#][^"':{}[\]]*)\3:(?: |$))?/.exec(line)
    const at = match?.[1]?.length ?? 0
    const items = match?.[2] ?? ''
    const name = match?.[4]?.trim()
    if (items !== '' && at < indent) {
      const inner = at + items.length
      if (name !== undefined && inner < indent) path.unshift(name)
      path.unshift('-')
      indent = at + 1
    }
    if (at < indent && items === '' && name !== undefined) {
      path.unshift(name)
      indent = at
    }
    if (indent === 0) break
  }
  for (let i = 0; i < dashes; i++) path.push('-')
  return inLine(last.slice(own?.[0].length ?? 0), path)
}

/** Braces opened on the line itself. */
function inLine(line: string, path: string[]): Place {
  let key: string | null = null
  let word = ''
  const back: (string | null)[] = []
  for (const character of line) {
    if (character === '{' || character === '[') {
      back.push(key)
      if (key !== null) path.push(key)
      if (character === '[' || key === null) path.push('-')
      if (character === '{' && path.at(-1) === '-' && key === null && back.length === 1) path.pop()
      key = null
      word = ''
    } else if (character === '}' || character === ']') {
      const former = back.pop() ?? null
      if (path.at(-1) === '-') path.pop()
      if (former !== null && path.at(-1) === former) path.pop()
      key = former
      word = ''
    } else if (character === ',') {
      key = null
      word = ''
    } else if (character === ':' && key === null) {
      key = word.trim().replace(/^"|"$/g, '')
      word = ''
    } else word += character
  }
  return { path, key, word: word.trimStart() }
}
