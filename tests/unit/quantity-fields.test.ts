import { stringify } from 'yaml'
import { describe, expect, it } from 'vitest'
import * as z from 'zod'
import { benchShape } from '../../src/bench/index.js'
import { equipmentShape } from '../../src/equipment/index.js'
import { fromText } from '../../src/files/index.js'
import { profileShape } from '../../src/profile/shape.js'

/** A place in a file that takes a quantity: its path, the least document around it, and the words of its unit. */
interface Field {
  readonly path: readonly (string | number)[]
  readonly raw: (value: unknown) => unknown
  readonly measures: string
}

/** Words with which `quantity` and `ratio` end the description of what they read. */
const described = /\((an? [a-z]+), such as/

/** Every quantity that a shape knows, found by walking it: a field added to a shape is tested without a line here. */
function fieldsOf(schema: z.core.$ZodType, at: Omit<Field, 'measures'>): Field[] {
  if (schema instanceof z.ZodOptional || schema instanceof z.ZodNullable || schema instanceof z.ZodDefault)
    return fieldsOf(schema.unwrap(), at)
  if (schema instanceof z.ZodPipe) {
    const about = z.globalRegistry.get(schema.in)?.description ?? ''
    const measures = described.exec(about)?.[1]
    return measures === undefined ? [] : [{ ...at, measures }]
  }
  if (schema instanceof z.ZodObject) {
    const shape: Readonly<Record<string, z.core.$ZodType>> = schema.shape
    // What tells one kind of part or stage from another has to stand there.
    const kinds = Object.entries(shape).flatMap(([key, field]) => {
      if (key !== 'kind' && key !== 'do') return []
      const [first] = field instanceof z.ZodLiteral || field instanceof z.ZodEnum ? wordsOf(field) : []
      return first === undefined ? [] : [[key, first]]
    })
    const beside = Object.fromEntries(kinds) as Record<string, unknown>
    return Object.entries(shape).flatMap(([key, field]) =>
      fieldsOf(field, { path: [...at.path, key], raw: (value) => at.raw({ ...beside, [key]: value }) }),
    )
  }
  if (schema instanceof z.ZodRecord)
    return fieldsOf(schema.valueType, {
      path: [...at.path, 'one'],
      raw: (value) => at.raw({ one: value }),
    })
  if (schema instanceof z.ZodArray)
    return fieldsOf(schema.element, { path: [...at.path, 0], raw: (value) => at.raw([value]) })
  if (schema instanceof z.ZodUnion) return schema.options.flatMap((option) => fieldsOf(option, at))
  return []
}
const wordsOf = (field: z.ZodLiteral | z.ZodEnum): unknown[] =>
  field instanceof z.ZodLiteral ? [...field.values] : field.options

const files = [
  { kind: 'equipment', shape: equipmentShape },
  { kind: 'bench', shape: benchShape },
  { kind: 'profile', shape: profileShape },
] as const
const fields = files.flatMap(({ kind, shape }) =>
  fieldsOf(shape, {
    path: [],
    raw: (value) => ({ ...(value as object), slowglow: `${kind} 1` }),
  }).map((field) => ({ kind, title: `${kind} ${field.path.join('.')}`, ...field })),
)

function problemsAt(kind: 'equipment' | 'bench' | 'profile', field: Field, value: unknown) {
  const text = stringify(field.raw(value), { lineWidth: 0 })
  const read =
    kind === 'equipment'
      ? fromText(text, 'file.yaml', kind)
      : kind === 'bench'
        ? fromText(text, 'file.yaml', kind)
        : fromText(text, 'file.yaml', kind)
  const lines = text.split('\n')
  const line = lines.findIndex((each) => each.includes(String(value)))
  const column = (lines[line] ?? '').indexOf(String(value))
  return read.problems.filter((each) => each.line === line + 1 && each.column === column + 1)
}

describe('a quantity in the wrong unit', () => {
  it('is looked for in every field of the three files that takes one', () => {
    expect(fields.length).toBeGreaterThan(60)
    for (const path of ['profile stages.0.to.0', 'profile stages.0.to', 'equipment parts.one.ohm'])
      expect(fields.map(({ title }) => title)).toContain(path)
  })

  for (const field of fields) {
    const wrong = field.measures === 'a voltage' ? '731 mA' : '731 V'
    const is = field.measures === 'a voltage' ? 'a current' : 'a voltage'
    it(`is told at its own column, with both units: ${field.title}`, () => {
      expect(problemsAt(field.kind, field, wrong)).toMatchObject([
        { severity: 'error', what: `'${wrong}' is ${is}; ${field.measures} is wanted here` },
      ])
      if (field.measures !== 'a ratio')
        expect(problemsAt(field.kind, field, 731)[0]?.what).toMatch(
          /^731 has no unit|^targets are wanted here, with their unit/,
        )
    })
  }
})
