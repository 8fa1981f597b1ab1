import { createServer, type AddressInfo, type Server, type Socket } from 'node:net'
import { chance } from '../../src/chance/index.js'
import type { Supply } from '../../src/bench/index.js'
import { createSupplyDevice, type VirtualInstrument } from '../../src/virtual/supplies.js'
import type { OutputFace } from '../../src/virtual/index.js'
import { faceOf } from './line-world.js'

/** A virtual supply in real time behind any pair of streams; its outputs answer at once, as into no load. */
export interface LiveSupply {
  readonly device: VirtualInstrument
  readonly faces: Readonly<Record<string, OutputFace>>
  stop(): void
}

const now_us = (): number => Math.round(performance.now() * 1000)

export function liveSupply(
  supply: Supply,
  far: { onData(heard: (text: string) => void): void; write(text: string): void },
): LiveSupply {
  const faces = Object.fromEntries(Object.keys(supply.channels).map((name) => [name, faceOf()]))
  const device = createSupplyDevice({ name: 'BENCH', supply, outputs: faces, chance: chance(3) })
  const answer = (): void => {
    for (const face of Object.values(faces)) face.measured_V = face.on ? face.set_V : 0
    const text = device.take(now_us())
    if (text !== '') far.write(text)
  }
  far.onData((text) => {
    device.receive(text, now_us())
    answer()
  })
  const timer = setInterval(answer, 2)
  return {
    device,
    faces,
    stop: () => {
      clearInterval(timer)
    },
  }
}

/** A supply on a loopback network port: the last client is the one that is answered. */
export async function tcpFarEnd(): Promise<{
  readonly port: number
  onData(heard: (text: string) => void): void
  write(text: string): void
  hangUp(): void
  /** Takes nothing more from its clients. */
  pause(): void
  close(): Promise<void>
}> {
  const clients = new Set<Socket>()
  let hear: (text: string) => void = () => undefined
  const server: Server = createServer((socket) => {
    clients.add(socket)
    socket.on('data', (chunk) => {
      hear(chunk.toString('latin1'))
    })
    socket.on('error', () => undefined)
    socket.on('close', () => clients.delete(socket))
  })
  await new Promise<void>((resolve) => server.listen(0, '127.0.0.1', resolve))
  const hangUp = (): void => {
    for (const client of clients) client.destroy()
  }
  return {
    port: (server.address() as AddressInfo).port,
    onData: (heard) => {
      hear = heard
    },
    write: (text) => {
      for (const client of clients) client.write(Buffer.from(text, 'latin1'))
    },
    hangUp,
    pause: () => {
      for (const client of clients) client.pause()
    },
    close: () =>
      new Promise((resolve) => {
        hangUp()
        server.close(() => {
          resolve()
        })
      }),
  }
}
