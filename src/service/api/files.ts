import * as z from 'zod'
import { pathField, problemShape } from './common.js'

const kindField = z.enum(['equipment', 'bench', 'profile'])

export const fileShape = z.object({
  path: z.string(),
  kind: kindField.nullable().describe('null: its first key says none of the three'),
  name: z.string().nullable(),
  bytes: z.number(),
  changed: z.string().describe('ISO 8601'),
  equipment: z
    .string()
    .nullable()
    .describe('profile, virtual bench: the set it names, as a path of this folder'),
  bench: z.string().nullable().describe('profile: the bench it names, as a path of this folder'),
  is: z.string().nullable().describe('profile: its kind of run; bench: real or virtual'),
})
export const filesShape = z.object({ folder: z.string(), files: z.array(fileShape), left_out: z.number() })
export type Files = z.output<typeof filesShape>

export const readFileQuery = z.strictObject({ path: pathField })
export const textShape = z.object({
  path: z.string(),
  kind: kindField.nullable(),
  text: z.string(),
  hash: z
    .string()
    .describe('SHA-256 of the text, hex: give it back when writing, so that nobody is written over'),
})
export type FileText = z.output<typeof textShape>

const textField = z.string().max(500_000)

export const writeFileBody = z.strictObject({
  path: pathField,
  text: textField,
  replaces: z
    .string()
    .nullable()
    .describe('hash of the text that this one takes the place of; null: a new file, nothing is written over'),
})
export const checkBody = z.strictObject({
  path: pathField.describe('where the text stands or would stand; what it names is looked for from there'),
  text: textField.optional().describe('a text not written yet; left out: the file as it is'),
  texts: z
    .record(z.string(), textField)
    .optional()
    .describe('other texts not written yet, by path; they stand in for the files'),
})
export const checkShape = z.object({
  path: z.string(),
  kind: kindField.nullable(),
  ok: z.boolean().describe('no error; warnings may be there'),
  problems: z.array(problemShape),
})
export type Check = z.output<typeof checkShape>
export const writtenShape = checkShape.extend({ hash: z.string() })
export type Written = z.output<typeof writtenShape>

export const schemaParams = z.strictObject({ kind: kindField })

/** The questions of `slowglow new`: all answers so far go in, the next question comes out, at the end the texts. */
export const newSetBody = z.strictObject({
  answers: z.array(z.string().max(2000)).max(120).describe('in order; an empty one takes the fallback'),
})
const askedShape = z.object({ ask: z.string(), answer: z.string() })
export const newSetShape = z.discriminatedUnion('done', [
  z.object({
    done: z.literal(false),
    asked: z.array(askedShape),
    next: z.object({
      ask: z.string(),
      fallback: z
        .string()
        .nullable()
        .describe('taken when the answer is empty; null: an answer is needed; "" is none'),
    }),
    problem: z
      .string()
      .nullable()
      .describe('what was wrong with the last answer given, which does not count among the asked'),
    told: z.array(z.string()).describe('said on the way'),
  }),
  z.object({
    done: z.literal(true),
    asked: z.array(askedShape),
    files: z.record(z.string(), z.string()).describe('file name → text; nothing is written yet'),
    bring_up: z.string().describe('the profile to begin with'),
  }),
])
export type NewSet = z.output<typeof newSetShape>
