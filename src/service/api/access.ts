import * as z from 'zod'

/**
 * Who may do what. `bench`: a page on the bench machine itself. `paired`: another device that gave the code printed in the
 * terminal. `none`: anybody else, who sees nothing. Whoever sees can stop; starting, cautions and every raise belong to the bench.
 */
export const roles = ['bench', 'paired', 'none'] as const
export type Role = (typeof roles)[number]

export const acts = [
  /** Say who one is, give the code. */
  'introduce',
  /** Look at everything: files, plans, runs, the run under way. */
  'see',
  /** Outputs off now, or run down. */
  'stop',
  /** A reading taken with a meter, in a run that was started on the bench machine. */
  'answer a reading',
  /** "Hands clear", given or withheld. */
  'hands clear',
  /** Any other question of a run. */
  'answer',
  /** Start a run and acknowledge its cautions. */
  'start',
  /** Ask the supplies on their lines what they are. */
  'ask supplies',
  /** A reading of the cold set or a photograph, into the set's book. It energises nothing, and says who took it. */
  'add to the book',
  /** Write a file of the folder, a note to a run, or anything else into a set's book. */
  'write',
] as const
export type Act = (typeof acts)[number]

/** The whole of it; tests walk it role by role and act by act. */
export const may: Readonly<Record<Role, readonly Act[]>> = {
  bench: acts,
  paired: ['introduce', 'see', 'stop', 'answer a reading', 'hands clear', 'add to the book'],
  none: ['introduce'],
}

export const meShape = z
  .object({
    role: z.enum(roles),
    may: z.array(z.enum(acts)).describe('what this one may do'),
    name: z.string().nullable().describe('as a paired device gave it'),
    open_to: z.enum(['this machine', 'network']).describe('who can reach this service'),
    unwatched_s: z
      .number()
      .describe('a run that no page has watched for so long is run down: it is not left alone from here'),
    version: z.string(),
    epoch: z.string().describe('another one than before: the service was started anew'),
  })
  .describe('Who you are here, and what you may do')
export type Me = z.output<typeof meShape>

export const pairBody = z.strictObject({
  code: z
    .string()
    .min(1)
    .max(40)
    .describe('as printed in the terminal of `slowglow serve`; spaces and dashes do not count'),
  name: z
    .string()
    .trim()
    .min(1)
    .max(60)
    .regex(/^[^\p{C}]+$/u, 'a name without control characters')
    .describe('what this device is called in the record'),
})

export const statusShape = z
  .object({
    epoch: z.string(),
    up_s: z.number(),
    viewers: z.number().describe('streams open now'),
    viewers_most: z.number().describe('no more than these are let in'),
    refused_viewers: z.number().describe('turned away because too many were open'),
    dropped_slow: z.number().describe('streams ended because their reader did not keep up'),
    frames_skipped: z.number().describe('figures not sent to a slow reader, who got newer ones'),
    desk: z.object({
      waiting: z.number(),
      done: z.number(),
      refused: z.number(),
      restarted: z.number(),
    }),
  })
  .describe('How the service does; copies that were dropped are counted here')
export type Status = z.output<typeof statusShape>
