import { EventEmitter, once } from 'node:events'
import { createServer, type IncomingMessage, request } from 'node:http'
import { connect, type Socket } from 'node:net'
import { describe, expect, it } from 'vitest'
import { acts, may, pairBody, Refused, type Act, type Role } from '../../src/service/api/index.js'
import { type Caller, forbids, hostOf, whoAsks } from '../../src/service/guard.js'
import { boundAway, boundHere } from '../../src/service/connections.js'
import { seesWord } from '../../src/service/live.js'
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
const tablet = { id: '3f2a91', name: 'tablet' }
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
  ['a paired device', { ...away, ...awayPage, device: tablet }, 'paired'],
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
    { ...away, origin: 'http://evil.example', device: tablet },
    'refused',
  ],
]

describe('who asks', () => {
  it.each(callers)('%s', (_, caller, expected) => {
    const who = whoAsks(caller, hosts)
    expect(who instanceof Refused ? 'refused' : who.role).toBe(expected)
  })

  it('is called in records what it is: a page, a program, a device by its own mark', () => {
    const called = (caller: Caller) => {
      const who = whoAsks(caller, hosts)
      return who instanceof Refused ? null : who.called
    }
    expect(called({ ...local, ...ours })).toBe('the page on the bench machine')
    expect(called(local)).toBe('a program on the bench machine')
    expect(called({ ...away, ...awayPage, device: tablet })).toBe('paired device "tablet" (3f2a91)')
  })
})

describe('the word of the cautions', () => {
  const who = (caller: Caller) => {
    const found = whoAsks(caller, hosts)
    if (found instanceof Refused) throw found
    return found
  }
  it('is for a page in a browser on the bench machine: not for a script there, nor for another device', () => {
    expect(seesWord(who({ ...local, ...ours }))).toBe(true)
    for (const caller of [
      local,
      { ...local, origin: ours.origin },
      { ...local, site: 'none' },
      { ...local, ...ours, forwarded: true },
      { ...away, ...awayPage, device: tablet },
    ])
      expect(seesWord(who(caller))).toBe(false)
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
    const given = pairing.pair(code.toLowerCase().replace('-', ' '), 'tablet')
    expect(given?.device.name).toBe('tablet')
    expect(pairing.device(given?.token)).toEqual(given?.device)
    expect(now()).not.toBe(code)
    expect(pairing.pair(code, 'again')).toBeNull()
  })

  it('cannot make a token up, nor change one, nor keep one for ever', () => {
    const token = pairing.pair(now(), 'tablet')?.token ?? ''
    const [body = '', mark = ''] = token.split('.')
    const other = Buffer.from(JSON.stringify({ id: 'x', name: 'other', at: 1000 })).toString('base64url')
    for (const forged of ['', body, `${body}.`, `${other}.${mark}`, `${token}.x`, `.${mark}`, undefined])
      expect(pairing.device(forged)).toBeNull()
    expect(new Pairing(Buffer.alloc(32, 8), () => undefined).device(token)).toBeNull()
    at.now += 31 * 86_400
    expect(pairing.device(token)).toBeNull()
  })

  it('is told from another of its name, in the record too, and forgotten alone', () => {
    const key = Buffer.alloc(32, 9)
    const [one, two] = [1, 2].map(() => {
      let shown = ''
      const each = new Pairing(key, (code) => {
        shown = code
      })
      return each.pair(shown, 'phone')
    })
    if (one == null || two == null) throw new Error('not paired')
    const called = (device: typeof one.device): string => {
      const who = whoAsks({ ...away, ...awayPage, device }, hosts)
      return who instanceof Refused ? '' : who.called
    }
    expect(called(one.device)).toMatch(/^paired device "phone" \([0-9a-f]{6}\)$/)
    expect(called(one.device)).not.toBe(called(two.device))
    const after = new Pairing(
      key,
      () => undefined,
      undefined,
      () => new Set([one.device.id]),
    )
    expect(after.device(one.token)).toBeNull()
    expect(after.device(two.token)).toEqual(two.device)
  })

  it('has a name that moves no terminal’s cursor', () => {
    for (const name of ['a\u001b[2Jb', 'a\nb', 'a\u202eb', '\u0007'])
      expect(pairBody.safeParse({ code: 'x', name }).success, JSON.stringify(name)).toBe(false)
    expect(pairBody.safeParse({ code: 'x', name: 'Telefon der Küche, 2' }).success).toBe(true)
    expect(pairing.pair(now(), 'a\u001b[2Jb')?.device.name).toBe('a[2Jb')
  })

  it('draws another code after ten wrong ones', () => {
    const before = codes.length
    for (let i = 0; i < 10; i++) expect(pairing.pair('XXXXXXXX', 'guess')).toBeNull()
    expect(codes.length).toBe(before + 1)
  })
})

describe('connections of other machines', () => {
  it('are bounded, however idle, and never at the cost of the bench’s own', () => {
    const server = new EventEmitter()
    boundAway(server as never, 3)
    const comes = (remoteAddress: string) => {
      const socket = Object.assign(new EventEmitter(), {
        remoteAddress,
        gone: false,
        destroy: () => undefined,
      })
      socket.destroy = () => {
        socket.gone = true
        return undefined
      }
      server.emit('connection', socket)
      return socket
    }
    const four = [1, 2, 3, 4].map((n) => comes(`192.0.2.${n}`))
    expect(four.map(({ gone }) => gone)).toEqual([false, false, false, true])
    expect(comes('127.0.0.1').gone).toBe(false)
    expect(comes('::ffff:127.0.0.1').gone).toBe(false)
    four[0]?.emit('close')
    expect(comes('192.0.2.5').gone).toBe(false)
    expect(comes('192.0.2.6').gone).toBe(true)
  })
})

describe('connections of this machine', () => {
  it.each([
    ['idle', ''],
    ['all of them waited on', 'GET /slow HTTP/1.1\r\nhost: x\r\n\r\n'],
  ])('are bounded with them %s, and one that comes with a stop is always heard', async (_, said) => {
    const most = 8
    const seen = { most: 0, slow: 0 }
    const server = createServer((request, answer) => {
      if (request.url === '/slow') seen.slow += 1
      else answer.end('heard')
    })
    boundHere(server, most)
    const open = new Set<Socket>()
    server.on('connection', (socket) => {
      open.add(socket)
      socket.on('close', () => open.delete(socket))
      seen.most = Math.max(seen.most, [...open].filter(({ destroyed }) => !destroyed).length)
    })
    server.listen(0, '127.0.0.1')
    await once(server, 'listening')
    const address = server.address()
    const port = typeof address === 'object' && address !== null ? address.port : 0
    const crowd: Socket[] = []
    try {
      for (let i = 0; i < 4 * most; i++) {
        const socket = connect(port, '127.0.0.1')
        socket.on('error', () => undefined)
        crowd.push(socket)
        await once(socket, 'connect')
        if (said !== '') {
          const before = seen.slow
          socket.write(said)
          while (seen.slow === before) await new Promise((resolve) => setImmediate(resolve))
        }
      }
      const stop = request({ port, host: '127.0.0.1', method: 'POST', path: '/stop', agent: false })
      stop.end()
      const [answer] = (await once(stop, 'response')) as [IncomingMessage]
      expect(answer.statusCode).toBe(200)
      answer.resume()
      expect(seen.most).toBeLessThanOrEqual(most)
    } finally {
      for (const socket of crowd) socket.destroy()
      server.closeAllConnections()
      server.close()
    }
  })
})
