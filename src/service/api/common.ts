import * as z from 'zod'

/** A documented part of a document whose whole type is stated beside it: more fields may come, none of these may go. */
export const documented = <T>(shape: z.ZodType): z.ZodType<T> => shape as z.ZodType<T>

export const problemShape = z
  .object({
    severity: z.enum(['error', 'warning']),
    what: z.string(),
    remedy: z.string(),
    at: z
      .object({
        file: z.string().describe('relative to the folder of the service'),
        line: z.number(),
        column: z.number(),
        path: z.string().describe('key by key, joined by dots'),
      })
      .nullable()
      .describe('null: it lies in how the files fit together'),
  })
  .describe('What is wrong, where, and what to do')
export type ApiProblem = z.output<typeof problemShape>

/** Short words for programs; `what` and `remedy` are for people. */
export const errorCodes = [
  'not allowed',
  'not paired',
  'wrong origin',
  'wrong code',
  'too many',
  'bad request',
  'too large',
  'not found',
  'exists',
  'changed meanwhile',
  'findings',
  'no bench',
  'busy',
  'nothing under way',
  'wrong word',
  'no such question',
  'bad answer',
  'record not available',
  'not reachable',
  'outputs not confirmed off',
  'our fault',
] as const
export type ErrorCode = (typeof errorCodes)[number]

export const errorShape = z
  .object({
    error: z.object({
      code: z.enum(errorCodes),
      what: z.string().describe('whole sentences'),
      remedy: z.string().nullable(),
      where: z.string().nullable(),
      problems: z.array(problemShape),
    }),
  })
  .describe('Why it was not done; nothing was')
export type ApiError = z.output<typeof errorShape>

/** Something that is not done, as it goes out: status and `ApiError`. */
export class Refused extends Error {
  constructor(
    readonly status: 400 | 401 | 403 | 404 | 409 | 413 | 422 | 429 | 500 | 503,
    readonly code: ErrorCode,
    what: string,
    readonly more: {
      readonly remedy?: string
      readonly where?: string
      readonly problems?: readonly ApiProblem[]
    } = {},
  ) {
    super(what)
  }

  get error(): ApiError['error'] {
    const { remedy = null, where = null, problems = [] } = this.more
    return { code: this.code, what: this.message, remedy, where, problems: [...problems] }
  }
}

/** A file of the folder, by its path from there; never leaves it. */
export const pathField = z
  .string()
  .min(1)
  .max(300)
  .regex(/^[^\0\\]+\.ya?ml$/i, 'a path to a .yaml file, parts joined by /')
  .describe('path of a YAML file, from the folder of the service')

export const runField = z
  .string()
  .min(1)
  .max(200)
  .regex(/^[\p{L}\p{N}][\p{L}\p{N} ._+-]*$/u, 'the name of a run, as the list has it')
  .describe('name of a run, as the list has it')
