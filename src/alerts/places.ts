import type { AlertTarget } from '../bench/index.js'
import type { Place } from './queue.js'

/** Host and port of an address; its path and query may be a secret. */
function hostOf(url: string): string {
  return /^[a-z]+:\/\/([^/?#]*)/i.exec(url)?.[1] ?? url
}

/** What a place is called: on screen, in the record. Never with what the environment holds. */
export function placeOf(target: AlertTarget): Place {
  const { least } = target
  if (target.kind === 'command')
    return { name: `command ${target.run[0] ?? ''}`, least, still_there_ms: null }
  const where = target.url === null ? `the address in ${target.url_from ?? ''}` : hostOf(target.url)
  const still_there_ms =
    target.kind === 'webhook' && target.still_there_s !== null ? target.still_there_s * 1000 : null
  return { name: `${target.kind === 'webhook' ? 'webhook' : 'broker'} ${where}`, least, still_there_ms }
}

/** A target with everything that the environment holds for it, or what is not there. */
export type Resolved =
  | {
      readonly kind: 'webhook'
      readonly url: string
      readonly headers: Readonly<Record<string, string>>
      readonly within_s: number
    }
  | {
      readonly kind: 'mqtt'
      readonly url: string
      readonly topic: string
      readonly user: string | null
      readonly password: string | null
      readonly silent_after_s: number
      readonly within_s: number
    }
  | { readonly kind: 'command'; readonly run: readonly string[]; readonly within_s: number }

export type Environment = Readonly<Record<string, string | undefined>>

/** Names of the variables that this target needs and the environment does not have. */
export function missingOf(target: AlertTarget, env: Environment): string[] {
  const wanted =
    target.kind === 'command'
      ? []
      : target.kind === 'webhook'
        ? [target.url_from, ...Object.values(target.headers_from)]
        : [target.url_from, target.password_from]
  return wanted.flatMap((name) => (name !== null && (env[name] ?? '') === '' ? [name] : []))
}

export function resolved(target: AlertTarget, env: Environment): Resolved {
  const held = (name: string | null): string => (name === null ? '' : (env[name] ?? ''))
  const { within_s } = target
  switch (target.kind) {
    case 'command':
      return { kind: 'command', run: target.run, within_s }
    case 'webhook': {
      const headers = Object.entries(target.headers_from).map(([name, from]) => [name, held(from)])
      const url = target.url ?? held(target.url_from)
      return {
        kind: 'webhook',
        url,
        headers: Object.fromEntries(headers) as Record<string, string>,
        within_s,
      }
    }
    case 'mqtt':
      return {
        kind: 'mqtt',
        url: target.url ?? held(target.url_from),
        topic: target.topic,
        user: target.user,
        password: target.password_from === null ? null : held(target.password_from),
        silent_after_s: target.silent_after_s,
        within_s,
      }
  }
}
