import { describe, expect, it } from 'vitest'
import { acts, may, Refused, type Act, type Role } from '../../src/service/api/index.js'
import { type Caller, forbids, hostOf, whoAsks } from '../../src/service/guard.js'
import { Pairing } from '../../src/service/pairing.js'

const port = 28100
const hosts = new Set(
  ['localhost', '127.0.0.1', '::1', '192.0.2.7', 'bench'].map((name) => hostOf(name, port)),
)
const local: Caller = {
  remote: '127.0.0.1',
  host: `127.0.0.1:${port}`,
  origin: undefined,
  site: undefined,
  opens_page: false,
  forwarded: false,
  device: null,
}
const ours = { origin: `http://127.0.0.1:${port}`, site: 'same-origin' }
const away: Caller = { ...local, remote: '192.0.2.9', host: `192.0.2.7:${port}` }
const awayPage = { origin: `http://192.0.2.7:${port}`, site: 'same-origin' }

/** Who calls from where, and what comes of it: a role, or refused outright. */
const callers: readonly (readonly [string, Caller, Role | 'refused'])[] = [
  ['a script on the bench machine', local, 'bench'],
  ['the page on the bench machine', { ...local, ...ours }, 'bench'],
  [
    'the page by the name localhost',
    { ...local, host: `localhost:${port}`, origin: `http://localhost:${port}` },
    'bench',
  ],
  [
    'the page over IPv6',
    { ...local, remote: '::1', host: `[::1]:${port}`, origin: `http://[::1]:${port}` },
    'bench',
  ],
  ['IPv4 mapped into IPv6', { ...local, remote: '::ffff:127.0.0.1' }, 'bench'],
  ['a paired device', { ...away, ...awayPage, device: 'tablet' }, 'paired'],
  ['a device that is not paired', { ...away, ...awayPage }, 'none'],
  ['a proxy on this machine', { ...local, ...ours, forwarded: true }, 'none'],
  ['this machine by its address of the network', { ...away, remote: '127.0.0.1' }, 'none'],
  ['a stranger who says localhost', { ...local, remote: '192.0.2.9' }, 'none'],
  [
    'a name bound to this machine',
    { ...local, host: `evil.example:${port}`, origin: `http://evil.example:${port}` },
    'refused',
  ],
  ['another port', { ...local, host: '127.0.0.1:80' }, 'refused'],
  ['no host at all', { ...local, host: undefined }, 'refused'],
  ['a page of another site', { ...local, origin: 'https://evil.example' }, 'refused'],
  ['a page of another port', { ...local, origin: 'http://127.0.0.1:8080' }, 'refused'],
  ['a page without an origin', { ...local, origin: 'null' }, 'refused'],
  ['a link in a page of another site', { ...local, site: 'cross-site', opens_page: true }, 'bench'],
  ['an image in a page of another site', { ...local, site: 'cross-site' }, 'refused'],
  ['a page of a sibling site', { ...local, site: 'same-site' }, 'refused'],
  [
    'a paired device misled by another site',
    { ...away, origin: 'http://evil.example', device: 'tablet' },
    'refused',
  ],
]

describe('who asks', () => {
  it.each(callers)('%s', (_, caller, expected) => {
    const who = whoAsks(caller, hosts)
    expect(who instanceof Refused ? 'refused' : who.role).toBe(expected)
  })
})

describe('what each may do, from wherever it comes', () => {
  const byPerson: readonly Act[] = ['start', 'answer', 'answer a reading', 'hands clear']
  for (const [name, caller, expected] of callers)
    it(name, () => {
      const who = whoAsks(caller, hosts)
      if (who instanceof Refused) {
        expect(who.status).toBe(403)
        return
      }
      if (expected === 'refused') throw new Error('was let in')
      for (const act of acts) {
        const allowed =
          may[expected].includes(act) && (caller.origin !== undefined || !byPerson.includes(act))
        expect(forbids(who, act) === null, act).toBe(allowed)
      }
      // Whoever sees can stop, from a page or not.
      expect(forbids(who, 'stop') === null).toBe(forbids(who, 'see') === null)
    })
})

describe('a paired device', () => {
  const at = { now: 1000 }
  const codes: string[] = []
  const pairing = new Pairing(
    Buffer.alloc(32, 7),
    (code) => codes.push(code),
    () => at.now,
  )
  const now = (): string => codes.at(-1) ?? ''

  it('gets a token for the code, however it is written, and the code is good once', () => {
    const code = now()
    expect(code).toMatch(/^[A-Z2-9]{4}-[A-Z2-9]{4}$/)
    const token = pairing.pair(code.toLowerCase().replace('-', ' '), 'tablet') ?? ''
    expect(pairing.device(token)).toBe('tablet')
    expect(now()).not.toBe(code)
    expect(pairing.pair(code, 'again')).toBeNull()
  })

  it('cannot make a token up, nor change one, nor keep one for ever', () => {
    const token = pairing.pair(now(), 'tablet') ?? ''
    const [body = '', mark = ''] = token.split('.')
    const other = Buffer.from(JSON.stringify({ id: 'x', name: 'other', at: 1000 })).toString('base64url')
    for (const forged of ['', body, `${body}.`, `${other}.${mark}`, `${token}.x`, `.${mark}`, undefined])
      expect(pairing.device(forged)).toBeNull()
    expect(new Pairing(Buffer.alloc(32, 8), () => undefined).device(token)).toBeNull()
    at.now += 31 * 86_400
    expect(pairing.device(token)).toBeNull()
  })

  it('draws another code after ten wrong ones', () => {
    const before = codes.length
    for (let i = 0; i < 10; i++) expect(pairing.pair('XXXXXXXX', 'guess')).toBeNull()
    expect(codes.length).toBe(before + 1)
  })
})
