import { randomBytes } from 'node:crypto'
import { once } from 'node:events'
import { createServer } from 'node:http'
import { hostname, networkInterfaces } from 'node:os'
import type { Logger } from 'pino'
import type { NotBegun, Ran } from '../session/index.js'
import { makeApp } from './app.js'
import { boundAway, boundHere, patience } from './connections.js'
import { Desk } from './desk.js'
import type { DeskPlace } from './desk-questions.js'
import { calledOf, hostOf, isLoopback } from './guard.js'
import { Live } from './live.js'
import { Pairing } from './pairing.js'
import { Streams } from './streams.js'

export interface ServiceJob {
  readonly place: DeskPlace
  /** The program that answers heavy questions. */
  readonly desk: URL
  /** Where it listens; an address that is not of this machine alone opens it to paired devices. */
  readonly address: string
  /** 0 lets the system choose. */
  readonly port: number
  /** What the tokens of paired devices are signed with. */
  readonly key: Buffer
  /** Marks of devices that have to give a code again; asked at every use of a device's token. */
  readonly forgotten: () => ReadonlySet<string>
  readonly page: string | null
  readonly version: string
  readonly env: Readonly<Record<string, string | undefined>>
  /** A run that no page has watched for so long is run down. */
  readonly unwatched_s: number
  readonly log: Logger
  readonly say: (text: string) => void
  /** Rings the bell of the service's terminal: what is in the page is not heard before somebody has touched it. */
  readonly ring: () => void
  readonly code: (code: string) => void
}

export interface Service {
  /** Where its pages are opened, the bench machine's own first. */
  readonly urls: readonly string[]
  readonly port: number
  /** As a signal of the terminal does in `run`: with no run under way there is nothing to stop, and false comes back. */
  stop(by: string, now: boolean): boolean
  /** How the run under way, or the last, ended; once an OFF that is sent again has been measured too. */
  over(): Promise<Ran | NotBegun>
  /** Lets everybody go. Only when no run is under way. */
  close(): Promise<void>
}

/** Starts the service; says why where it cannot listen. This process supervises its runs, and does nothing heavy beside. */
export async function startService(job: ServiceJob): Promise<Service | { readonly trouble: string }> {
  const epoch = randomBytes(6).toString('hex')
  const began = performance.now()
  const now_ms = (): number => Math.round(performance.now() - began)
  const open = !isLoopback(job.address) && job.address !== 'localhost'
  const desk = new Desk(job.desk, job.place)
  const live = new Live({
    desk,
    epoch,
    now_ms,
    env: job.env,
    unwatched_s: job.unwatched_s,
    log: job.log,
    say: job.say,
    ring: job.ring,
  })
  const streams: Streams = new Streams(() => ({
    now_ms: now_ms(),
    phase: live.phase,
    viewers: streams.count,
  }))
  live.streams = streams
  live.tellLeft()
  const hosts = new Set<string>()
  const app = await makeApp({
    desk,
    live,
    streams,
    pairing: open ? new Pairing(job.key, job.code, undefined, job.forgotten) : null,
    hosts,
    epoch,
    version: job.version,
    up_s: () => now_ms() / 1000,
    unwatched_s: job.unwatched_s,
    patience,
    page: job.page,
    paired: (device) => {
      job.say(
        `Paired: device ${calledOf(device)}. To end that one alone, also while this service runs: slowglow serve --forget-device ${device.id}`,
      )
    },
    fault: (text) => {
      job.say(`Our own fault, not yours: ${text}`)
    },
  })
  boundAway(app.server)
  boundHere(app.server)
  // The bench machine's own page is always at its loopback address.
  const own = createServer(patience, (request, answer) => {
    app.routing(request, answer)
  })
  boundHere(own)
  const end = async (): Promise<void> => {
    streams.end('The service ends.')
    desk.end()
    own.close()
    own.closeAllConnections()
    await app.close()
  }
  let port: number
  try {
    await app.listen({ host: job.address, port: job.port })
    const at = app.server.address()
    port = at !== null && typeof at === 'object' ? at.port : job.port
    if (open && !coversLoopback(job.address)) {
      own.listen(port, '127.0.0.1')
      await once(own, 'listening')
    }
  } catch (error) {
    await end()
    return { trouble: error instanceof Error ? error.message : String(error) }
  }
  desk.begin()
  for (const name of ['localhost', '127.0.0.1', '::1']) hosts.add(hostOf(name, port))
  const names = open ? namesOf(job.address) : []
  for (const name of names) hosts.add(hostOf(name, port))
  return {
    urls: [`http://127.0.0.1:${port}/`, ...names.map((name) => `http://${hostOf(name, port)}/`)],
    port,
    stop: (by, now) => {
      if (!live.underWay) return false
      live.stop(now, { called: by }, undefined)
      return true
    },
    over: () => live.quiet(),
    close: end,
  }
}

const coversLoopback = (address: string): boolean => address === '0.0.0.0' || address === '::'

/** Every name and address that a device of the network may call this machine by. */
function namesOf(address: string): string[] {
  const all = address === '0.0.0.0' || address === '::'
  const addresses = all
    ? Object.values(networkInterfaces()).flatMap((each) =>
        (each ?? []).flatMap(({ address: one, internal }) => (internal ? [] : [one.replace(/%.*$/, '')])),
      )
    : [address]
  const name = hostname().toLowerCase()
  return [...new Set([...addresses, name, `${name.replace(/\.local$/, '')}.local`])]
}
