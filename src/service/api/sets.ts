import * as z from 'zod'
import type { Equipment } from '../../equipment/index.js'
import type { Coverage, Diagnosis } from '../../faults/index.js'
import { documented, pathField, runField } from './common.js'

/*
 * A set outside its runs: its cold checks, its book, the faults its plan would notice, and what a run says is wrong with it.
 */

const setField = pathField.describe("the set's equipment file, or a profile that names it")
export const setQuery = z.strictObject({ file: setField })

const stateField = z.enum(['in range', 'marginal', 'out of range', 'not taken', 'to be read again'])
export const worksheetShape = z.object({
  equipment: z.string(),
  file: z.string().describe("the set's own file"),
  level: z.number(),
  mode: z.string(),
  controls: z.record(z.string(), z.string()).describe('control positions of the readings'),
  summary: z.array(z.string()),
  not_computed: z.array(z.string()),
  book: z.string().describe('where the readings are kept'),
  checks: z.array(
    z.object({
      item: z.string(),
      state: stateField,
      text: z.string().describe('what was read, what is wanted, and why it matters where it is not right'),
      reading: z.object({ value: z.string(), by: z.string(), at: z.string() }).nullable(),
      waiver: z.string().nullable().describe('who let it stand, when and why; it stays in every later view'),
      check: z
        .object({
          group: z.string(),
          what: z.string(),
          kind: z.enum(['reading', 'look']),
          units: z
            .array(z.string())
            .describe('what a reading may be typed in; volts too where a meter may show those for ohms'),
          wanted: z.string(),
          usual: z.string().nullable(),
          because: z.string(),
          source: z.string(),
          method: z.string(),
          meter: z.string(),
          cautions: z.array(z.string()),
          must: z.boolean().describe('taken before the first volt on a real bench'),
          waivable: z.boolean(),
        })
        .nullable()
        .describe("null: the set's file no longer has it"),
    }),
  ),
  kept: z
    .array(z.object({ item: z.string(), verdict: z.string(), text: z.string() }))
    .describe('what was written by this call, judged'),
})
export type ApiWorksheet = z.output<typeof worksheetShape>

const byField = z.string().trim().min(1).max(100).optional().describe('who; the role unless given')
const onField = z.iso.date().optional().describe('day on which it was done, where that is another')
const word = z.string().trim().min(1).max(400)
const text = z.string().trim().min(1).max(10_000)

export const readingsBody = z.strictObject({
  file: setField,
  readings: z
    .array(z.strictObject({ item: word, value: word.describe('with its unit, or good or bad') }))
    .min(1)
    .max(300),
  meter: z.string().trim().max(400).default('').describe('what it was read with; a look needs none'),
  by: byField,
  on: onField,
})

export const bookShape = z.object({
  equipment: z.string(),
  file: z.string(),
  book: z.string(),
  last: z.string().nullable().describe('last link of the book, to be held against a printed one'),
  lines: z
    .array(
      z.object({
        at: z.string(),
        seq: z.number().nullable().describe('from 0; null: a run that stands in its run file only'),
        by: z.string(),
        kind: z.string(),
        text: z.string(),
        run: z.string().nullable(),
      }),
    )
    .describe("the set's life in order"),
  photographs: z.array(
    z.object({ seq: z.number(), name: z.string(), caption: z.string(), at: z.string(), sha256: z.string() }),
  ),
  waived: z
    .array(z.string())
    .describe('cold checks that were let stand, with who, when and why; those no longer in force too'),
  shown: z.array(z.object({ of: z.string(), verdict: z.string() })).describe('proofs at radio frequency'),
  parts: z.array(z.string()).describe('names that a repair may be about'),
})
export type ApiBook = z.output<typeof bookShape>

export const entryBody = z.strictObject({
  file: setField,
  by: byField,
  on: onField,
  entry: z.discriminatedUnion('kind', [
    z.strictObject({ kind: z.literal('description'), text }),
    z.strictObject({ kind: z.literal('serial'), what: word, number: word }),
    z.strictObject({ kind: z.literal('finding'), text, parts: z.array(word).max(50) }),
    z.strictObject({ kind: z.literal('repair'), text, parts: z.array(word).max(50) }),
    z.strictObject({
      ...{ kind: z.literal('replaced'), part: word, was: word, now: word },
      text: z.string().trim().max(10_000).default(''),
    }),
    z.strictObject({ kind: z.literal('waiver'), item: word, reason: text }),
  ]),
})
export type BookWriting = z.input<typeof entryBody>['entry']

const proofKind = z.enum(['receive', 'transmit', 'aerial'])
export const proofsShape = z.object({
  ways: z.array(
    z.object({
      of: proofKind,
      about: z.string(),
      cautions: z.array(z.string()).describe('read before any of it is done'),
      readings: z.array(
        z.object({
          name: z.string(),
          unit: z.string(),
          words: z.string(),
          needed: z.boolean(),
        }),
      ),
      choices: z.array(
        z.object({
          name: z.string(),
          words: z.string(),
          among: z.array(z.string()).nullable().describe('one of these; null: yes, or left out'),
          must: z.boolean().describe('has to be chosen: the first of them is not taken unsaid'),
        }),
      ),
    }),
  ),
})
export type ApiProofs = z.output<typeof proofsShape>
export const proveBody = z.strictObject({
  file: setField,
  of: proofKind,
  readings: z
    .record(word, z.string().max(60))
    .describe('by name, each with its unit (5 µV; 3.65 MHz); choices too, and yes for what is confirmed'),
  instruments: z.array(word).min(1).max(10).describe('what it was read with'),
  accuracy: z.string().max(20).default('5 %'),
  by: byField,
  on: onField,
})
export const provedShape = z.object({
  of: proofKind,
  what: z.string(),
  verdict: z.enum(['shown', 'marginal', 'not shown']),
  figures: z.array(z.string()).describe('computed from the readings, each with its unit'),
  judged: z.array(z.object({ verdict: z.string(), text: z.string(), source: z.string() })),
  book: bookShape,
})
export type ApiProved = z.output<typeof provedShape>

/** What stands in one line of a record. */
const plainText = /^[^\p{Cc}]+$/u

/** The picture itself is the body: image/jpeg, image/png or image/webp. */
export const photographQuery = z.strictObject({
  file: setField,
  name: word.regex(plainText, 'a name without line ends'),
  caption: z.string().max(1000).regex(plainText, 'words without line ends').or(z.literal('')).default(''),
  by: byField,
})
export const pictureQuery = z.strictObject({ file: setField, seq: z.coerce.number().int().min(0) })
/** Largest picture that is taken over the network, bytes. */
export const most_picture_bytes = 32_000_000

export const setPages = ['book', 'worksheet', 'record sheet'] as const
export const setPageQuery = z.strictObject({ file: setField, page: z.enum(setPages) })

export const coverageBody = z.strictObject({
  profile: pathField,
  bench: pathField.optional(),
  texts: z.record(z.string(), z.string().max(500_000)).optional(),
})
const count = z.number()
/** Each check by hand with the items of the cold-check sheet that look for it; pairs that hide one another, by name. */
export type ApiCoverage = Omit<Coverage, 'hand_checks'> & {
  readonly hand_checks: readonly (Coverage['hand_checks'][number] & { readonly items: readonly string[] })[]
  readonly hiding: readonly string[]
}
const coveredFault = z.looseObject({
  ...{ fault: z.string(), part: z.string(), text: z.string(), caught: z.boolean(), early: z.boolean() },
  step: z.number().nullable(),
  stress: z.looseObject({ of_rating: z.number() }).nullable(),
})
export const coverageShape = documented<ApiCoverage>(
  z
    .looseObject({
      ...{ equipment: z.string(), profile: z.string(), share: z.number(), likely_share: z.number() },
      ...{ caught: count, total: count, late: count, burns_unseen: count, harmless_unseen: count },
      faults: z.array(coveredFault),
      pairs: z.array(coveredFault).describe('the likeliest pairs of them, in none of the figures'),
      hiding: z
        .array(z.string())
        .describe('pairs that are not noticed in time though one of them alone is, by their `fault`'),
      hand_checks: z.array(z.looseObject({ part: z.string(), text: z.string(), items: z.array(z.string()) })),
      suggestions: z.array(z.looseObject({ text: z.string() })),
      learned: z.array(z.string()).describe("what the set's book and earlier runs say"),
      notes: z.array(z.string()),
    })
    .describe('The document of `slowglow coverage --json`'),
)

export const diagnosisBody = z.strictObject({
  readings: z
    .array(z.string().trim().min(3).max(200))
    .max(50)
    .describe('readings taken since, "PLACE=VALUE" with its unit'),
  fails: z
    .boolean()
    .default(false)
    .describe('the set is known to fail: a next reading is looked for though nothing shows'),
  priors: z
    .array(z.string().trim().min(3).max(200))
    .max(50)
    .default([])
    .describe('how often a part, a kind of fault or one fault comes against what is usual, "WHAT=FACTOR"'),
})
export type ApiDiagnosis = Diagnosis & {
  readonly run: string
  /** The set as it was when the run was made: what the suspects and the place of the next reading are drawn on. */
  readonly equipment: Equipment
}
export const diagnosisShape = documented<ApiDiagnosis>(
  z
    .looseObject({
      run: runField,
      hypotheses: z.array(
        z.looseObject({
          ...{ fault: z.string(), part: z.string(), text: z.string(), probability: z.number() },
          ...{ tied_with: z.array(z.string()), rivals: z.array(z.string()), explains: z.string() },
        }),
      ),
      none: z.number(),
      verdict: z.string(),
      next: z.looseObject({ measure: z.string(), place: z.string(), where: z.string() }).nullable(),
      search_ends: z.string().nullable().describe('why there is no next reading'),
      learned: z
        .array(z.string())
        .describe("what the set's book and earlier runs say, with what of it counts how much"),
      notes: z.array(z.string()),
    })
    .describe('The document of `slowglow diagnose --json`'),
)
