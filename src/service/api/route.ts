import type * as z from 'zod'
import type { Act } from './access.js'
import type { ErrorCode } from './common.js'

/** One way in: who may use it, what goes in, what comes back. `media`: what comes back is no JSON. */
export interface RouteShape {
  readonly act: Act
  readonly summary: string
  readonly tag: 'access' | 'files' | 'plans' | 'sets' | 'runs' | 'live'
  readonly params?: z.ZodType
  readonly query?: z.ZodType
  readonly body?: z.ZodType
  readonly reply: z.ZodType
  readonly media?: string
  /** Errors of its own, beside those that any may give (`everywhere`). */
  readonly errors?: Readonly<Partial<Record<400 | 404 | 409 | 413 | 422 | 503, readonly ErrorCode[]>>>
}
/** Any way in may answer so; the body is `errorShape`. */
export const everywhere = {
  400: ['bad request'],
  401: ['not paired'],
  403: ['not allowed', 'wrong origin'],
  413: ['too large'],
  429: ['too many'],
  500: ['our fault'],
} as const satisfies Readonly<Record<number, readonly ErrorCode[]>>

export const gone = { 404: ['not found'] } as const
export const reading = { ...gone, 503: ['busy', 'record not available'] } as const
export const planning = { ...gone, 422: ['findings', 'no bench', 'bad request'], 503: ['busy'] } as const
export const ofSet = {
  ...gone,
  422: ['findings', 'bad request'],
  503: ['busy', 'record not available'],
} as const
