import { isIPv4 } from 'node:net'
import { type Act, may, Refused, type Role } from './api/index.js'
import type { Device } from './pairing.js'

/** What is known of a request before anything of it is believed. */
export interface Caller {
  /** Address of the other end of the connection. */
  readonly remote: string
  readonly host: string | undefined
  readonly origin: string | undefined
  /** `Sec-Fetch-Site`, which a page cannot set. */
  readonly site: string | undefined
  /** A person goes to the page itself, from wherever the link stood; nothing is asked of the API. */
  readonly opens_page: boolean
  /** It came through something that passes requests on, so that its address is not the caller's. */
  readonly forwarded: boolean
  /** Paired before, by its cookie. */
  readonly device: Device | null
}
export interface Who {
  readonly role: Role
  /** As the record calls it. */
  readonly called: string
  readonly device: Device | null
  /** It says that it asks from a page of ours; a program can say so too. */
  readonly from_page: boolean
  /** A browser says so itself, of a page that it got from here: what a page shows and a script is not given goes there. */
  readonly in_page: boolean
}

/** Acts of a person in front of a page: what they permit is read and decided there. A program that means to pass for one can. */
const byPage: ReadonlySet<Act> = new Set<Act>(['start', 'answer', 'answer a reading', 'hands clear'])

/**
 * Who asks, by facts that a strange page in somebody's browser cannot make up. `hosts`: every name and address, with the port, by
 * which this service may be called; another one means that a name was rebound to this machine, or a misled proxy.
 */
export function whoAsks(caller: Caller, hosts: ReadonlySet<string>): Who | Refused {
  const host = caller.host?.toLowerCase() ?? ''
  if (!hosts.has(host))
    return new Refused(
      403,
      'wrong origin',
      `This service is not called ${host === '' ? 'nothing at all' : host}.`,
      {
        remedy: 'Open the address that `slowglow serve` printed.',
      },
    )
  const strange = (what: string): Refused =>
    new Refused(403, 'wrong origin', what, {
      remedy: 'Open the page at the address that `slowglow serve` printed, and act from there.',
    })
  if (caller.origin !== undefined && caller.origin.toLowerCase() !== `http://${host}`)
    return strange('This comes from a page of another site.')
  const own = caller.site === undefined || caller.site === 'same-origin' || caller.site === 'none'
  if (!own && !caller.opens_page) return strange('This was brought about by a page of another site.')
  const from_page = caller.origin !== undefined
  const in_page = caller.site === 'same-origin'
  const { device } = caller
  if (isLoopback(caller.remote) && isLoopbackName(host) && !caller.forwarded)
    return { role: 'bench', called: from_page ? benchPage : benchProgram, device: null, from_page, in_page }
  return device === null
    ? { role: 'none', called: 'a device that is not paired', device, from_page, in_page }
    : { role: 'paired', called: `paired device ${calledOf(device)}`, device, from_page, in_page }
}

const benchPage = 'the page on the bench machine'
/** What it does stands in records under what it is: no page was in front of anybody. */
const benchProgram = 'a program on the bench machine'

/** Two may have been given one name: the mark tells them apart. */
export const calledOf = ({ name, id }: Device): string => `"${name}" (${id})`

/** Why this one may not do this; null where it may. A stop asks for no more than being allowed to see. */
export function forbids(who: Who, act: Act): Refused | null {
  if (!may[who.role].includes(act))
    return who.role === 'none'
      ? new Refused(401, 'not paired', 'This device is not paired.', {
          remedy: 'Give the code that `slowglow serve` shows in its terminal.',
        })
      : new Refused(403, 'not allowed', `This is not done from a paired device: ${act}.`, {
          remedy: 'Do it on the bench machine, at its terminal or its own page. You can stop from here.',
        })
  if (byPage.has(act) && !who.from_page)
    return new Refused(403, 'wrong origin', 'This is done by a person at the page, not by a program.', {
      remedy: 'Open the page, read what it shows, and act there.',
    })
  return null
}

export function isLoopback(address: string): boolean {
  const plain = address.replace(/^::ffff:/i, '')
  return plain === '::1' || (isIPv4(plain) && plain.startsWith('127.'))
}

function isLoopbackName(host: string): boolean {
  const name = host.replace(/:\d+$/, '')
  return name === 'localhost' || name === '[::1]' || isLoopback(name)
}

/** As a Host header has it. */
export const hostOf = (name: string, port: number): string =>
  `${name.includes(':') ? `[${name}]` : name}:${port}`.toLowerCase()
