import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { stringify } from 'yaml'
import { fromText } from '../../src/files/index.js'
import { soundBench, soundProfile, soundSet } from '../helpers/files.js'

const kinds = ['equipment', 'bench', 'profile'] as const
const kind = fc.constantFrom(...kinds)
const sound = { equipment: soundSet, bench: soundBench, profile: soundProfile }

/** Either a value, or problems that each have a place, a what and a remedy: nothing else may come out. */
function expectJudged(text: string, of: (typeof kinds)[number]): void {
  const { value, problems } =
    of === 'equipment'
      ? fromText(text, 'f', 'equipment')
      : of === 'bench'
        ? fromText(text, 'f', 'bench')
        : fromText(text, 'f', 'profile')
  const lines = text.split('\n').length
  for (const { line, column, what, remedy } of problems) {
    expect(line >= 1 && line <= lines + 1 && column >= 1).toBe(true)
    expect(what.length > 0 && remedy.length > 0, `${what} → ${remedy}`).toBe(true)
    // What stands in quotes is the person's own text, whatever it is.
    expect(what.replaceAll(/'[^']*'|"[^"]*"/g, '')).not.toMatch(/undefined|\[object|NaN/)
  }
  if (problems.some(({ severity }) => severity === 'error')) expect(value).toBeNull()
  else expect(value).not.toBeNull()
}

describe('file loaders', () => {
  it('give a value or problems for any text at all, never an exception', () => {
    fc.assert(
      fc.property(
        kind,
        fc.oneof(fc.string({ maxLength: 200 }), fc.string({ unit: 'binary', maxLength: 200 })),
        (of, text) => {
          expectJudged(text, of)
          expectJudged(`slowglow: ${of} 1\n${text}`, of)
        },
      ),
      { numRuns: 400 },
    )
  })

  it('give a value or problems for any YAML value under any known key', () => {
    const word = fc.constantFrom(
      '__proto__',
      'constructor',
      'toString',
      '',
      ' ',
      'V1',
      'HT',
      '250 V',
      '-1 V',
      '1e999 V',
      'null',
    )
    const value = fc.letrec((tie) => ({
      any: fc.oneof(
        { maxDepth: 3 },
        word,
        fc.integer(),
        fc.double(),
        fc.boolean(),
        fc.constant(null),
        fc.array(tie('any'), { maxLength: 4 }),
        fc.dictionary(word, tie('any'), { maxKeys: 4 }),
      ),
    })).any
    const keys = [
      'name',
      'chassis',
      'chassis_node',
      'modes',
      'rails',
      'parts',
      'tubes',
      'heater_chains',
      'charts',
      'supplies',
      'meters',
      'stacks',
      'stages',
      'ceiling',
      'rules',
      'test_points',
      'hazards',
    ]
    fc.assert(
      fc.property(kind, fc.dictionary(fc.constantFrom(...keys), value), (of, content) => {
        expectJudged(stringify({ slowglow: `${of} 1`, ...content }), of)
      }),
      { numRuns: 300 },
    )
  })

  it('give a value or problems when any piece of a sound file is cut out, doubled or put elsewhere', () => {
    fc.assert(
      fc.property(kind, fc.nat(), fc.nat(60), fc.nat(), fc.boolean(), (of, from, length, to, keep) => {
        const text = sound[of]
        const start = from % text.length
        const piece = text.slice(start, start + length)
        const rest = keep ? text : text.slice(0, start) + text.slice(start + length)
        const at = to % (rest.length + 1)
        expectJudged(rest.slice(0, at) + piece + rest.slice(at), of)
      }),
      { numRuns: 400 },
    )
  })

  it('give a value or problems when one value of a sound file is put in the place of another', () => {
    fc.assert(
      fc.property(kind, fc.nat(), fc.nat(), (of, from, to) => {
        const text = sound[of]
        const words = [...text.matchAll(/[^\s:,[\]{}]+/g)]
        const a = words[from % words.length]
        const b = words[to % words.length]
        if (a === undefined || b === undefined) return
        expectJudged(text.slice(0, a.index) + b[0] + text.slice(a.index + a[0].length), of)
      }),
      { numRuns: 600 },
    )
  })
})
