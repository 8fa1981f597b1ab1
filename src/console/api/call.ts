import type * as z from 'zod'
import { errorShape, type ApiError } from '../../service/api/index.js'
import { paths, type RouteName } from '../../service/api/paths.js'

/** What came of a call: the document, or why not in words for a person. Never throws. */
export type Came<T> = { readonly ok: true; readonly value: T } | { readonly ok: false; readonly why: Why }
export interface Why {
  readonly code: ApiError['error']['code'] | 'no connection'
  readonly what: string
  readonly remedy: string | null
  readonly problems: ApiError['error']['problems']
}
interface With {
  readonly params?: Readonly<Record<string, string>>
  readonly query?: Readonly<Record<string, string | number | undefined>>
  readonly body?: unknown
  /** Sent as it is, in place of a body of JSON. */
  readonly picture?: Blob
  /** Given up after this; a call that answers nothing is not waited for for ever. */
  readonly within_ms?: number
  readonly signal?: AbortSignal
}

/** The address of a route, with what belongs into it. */
export function addressFor(route: RouteName, given: Pick<With, 'params' | 'query'> = {}): string {
  const path = paths[route][1].replace(/:(\w+)/g, (_, name: string) =>
    encodeURIComponent(given.params?.[name] ?? ''),
  )
  const query = Object.entries(given.query ?? {}).flatMap(([name, value]) =>
    value === undefined ? [] : [`${name}=${encodeURIComponent(value)}`],
  )
  return query.length === 0 ? path : `${path}?${query.join('&')}`
}

/** What is under way besides. A browser has few connections to one service, and a stop needs one. */
const under = new Set<AbortController>()
/** Everything else that is waited for is given up: a stop goes first. */
export function giveWay(): void {
  for (const each of under) each.abort()
  under.clear()
}
const first: readonly RouteName[] = ['stop', 'runDown']

/** A question that was turned away because too many wait is asked again by itself, so long apart. */
const again_ms = 1000

/** Asks the service; whatever it sends is held against its shape before anything believes it. */
export async function call<T>(route: RouteName, shape: z.ZodType<T>, given: With = {}): Promise<Came<T>> {
  const timeout = AbortSignal.timeout(given.within_ms ?? 30_000)
  for (;;) {
    const came = await once(route, shape, given, timeout)
    // What was sent to be done is never sent twice.
    if (came.ok || came.why.code !== 'busy' || paths[route][0] !== 'GET') return came
    await new Promise((resolve) => setTimeout(resolve, again_ms))
    if (timeout.aborted || given.signal?.aborted === true) return came
  }
}

async function once<T>(
  route: RouteName,
  shape: z.ZodType<T>,
  given: With,
  timeout: AbortSignal,
): Promise<Came<T>> {
  const way = new AbortController()
  const goesFirst = first.includes(route)
  // What was sent to be done is not taken back.
  if (paths[route][0] === 'GET' || (given.within_ms ?? 0) > 30_000) under.add(way)
  try {
    const response = await fetch(addressFor(route, given), {
      method: paths[route][0],
      headers:
        given.picture !== undefined
          ? { 'content-type': given.picture.type }
          : given.body === undefined
            ? {}
            : { 'content-type': 'application/json' },
      ...(given.body !== undefined && { body: JSON.stringify(given.body) }),
      ...(given.picture !== undefined && { body: given.picture }),
      signal: AbortSignal.any([timeout, way.signal, ...(given.signal === undefined ? [] : [given.signal])]),
      ...(goesFirst && { priority: 'high' as const }),
      credentials: 'same-origin',
      cache: 'no-store',
      // A stop that was sent while the page closes is still to arrive.
      keepalive:
        given.picture === undefined && (given.body === undefined || JSON.stringify(given.body).length < 1000),
    })
    const text = await response.text()
    const raw = parsed(text)
    if (!response.ok) return { ok: false, why: whyOf(raw, response.status) }
    const read = shape.safeParse(raw)
    if (read.success) return { ok: true, value: read.data }
    const issue = read.error.issues[0]
    return failed(
      'our fault',
      `The service answered with something this page does not understand (${route}: ${issue?.path.join('.') ?? ''} ${issue?.message ?? ''}).`,
      'Load the page again: it and the service may be of two versions.',
    )
  } catch (error) {
    return failed(
      'no connection',
      timeout.aborted
        ? 'The service did not answer in time.'
        : way.signal.aborted
          ? 'This was given up, since a stop was sent.'
          : 'The service was not reached.',
      error instanceof DOMException && error.name === 'AbortError'
        ? null
        : 'Look whether slowglow serve still runs on the bench machine, and at the network between.',
    )
  } finally {
    under.delete(way)
  }
}

function failed(
  code: Why['code'],
  what: string,
  remedy: string | null,
): { readonly ok: false; readonly why: Why } {
  return { ok: false, why: { code, what, remedy, problems: [] } }
}

function whyOf(raw: unknown, status: number): Why {
  const read = errorShape.safeParse(raw)
  if (read.success) return read.data.error
  return {
    code: 'our fault',
    what: `The service refused without saying why (status ${status}).`,
    remedy: 'Look at what it says in its terminal.',
    problems: [],
  }
}

function parsed(text: string): unknown {
  try {
    return JSON.parse(text) as unknown
  } catch {
    return undefined
  }
}
