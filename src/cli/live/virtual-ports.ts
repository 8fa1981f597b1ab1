import { rmSync } from 'node:fs'
import { createServer, type Socket } from 'node:net'
import type { PortLine } from '../../supply/index.js'
import { openPtyLine, ptyDirectory } from './pty.js'

/** Where the virtual supplies are reached: one terminal line or one loopback port each. */
export interface VirtualPorts {
  readonly places: Readonly<Record<string, PortLine>>
  write(port: string, text: string): void
  close(): void
}
interface Handlers {
  readonly received: (port: string, text: string) => void
  readonly lost: (port: string, text: string) => void
}
type Opened = VirtualPorts | { readonly trouble: string }

export async function openPtyPorts(names: readonly string[], handlers: Handlers): Promise<Opened> {
  const directory = ptyDirectory()
  const lines: Record<string, { write(text: string): void; close(): void }> = {}
  const places: Record<string, PortLine> = {}
  const close = (): void => {
    for (const line of Object.values(lines)) line.close()
    rmSync(directory, { recursive: true, force: true })
  }
  for (const name of names) {
    const line = await openPtyLine(
      name,
      directory,
      (text) => {
        handlers.received(name, text)
      },
      (text) => {
        handlers.lost(name, text)
      },
    )
    if ('trouble' in line) {
      close()
      return line
    }
    lines[name] = line
    places[name] = { kind: 'serial', path: line.path, baud: 115200, spare_allowed: true }
  }
  return {
    places,
    write(port, text) {
      lines[port]?.write(text)
    },
    close,
  }
}

/** Ports from `first` on, one per supply; 0 lets the system choose each. A supply on a socket takes several clients here. */
export async function openTcpPorts(
  names: readonly string[],
  first: number,
  handlers: Handlers,
): Promise<Opened> {
  const clients = new Map<string, Set<Socket>>()
  const places: Record<string, PortLine> = {}
  const servers: { close(): void }[] = []
  for (const [index, name] of names.entries()) {
    const sockets = new Set<Socket>()
    clients.set(name, sockets)
    const server = createServer((socket) => {
      sockets.add(socket)
      socket.setNoDelay(true)
      socket.setEncoding('latin1')
      socket.on('data', (text: string) => {
        handlers.received(name, text)
      })
      socket.on('error', () => undefined)
      socket.on('close', () => sockets.delete(socket))
    })
    const wanted = first === 0 ? 0 : first + index
    const trouble = await new Promise<string | null>((resolve) => {
      server.once('error', (error) => {
        resolve(`Port ${wanted} cannot be used: ${error.message}`)
      })
      server.listen(wanted, '127.0.0.1', () => {
        resolve(null)
      })
    })
    servers.push(server)
    if (trouble !== null) {
      for (const opened of servers) opened.close()
      return { trouble }
    }
    const address = server.address()
    const port = address !== null && typeof address === 'object' ? address.port : wanted
    places[name] = { kind: 'tcp', host: '127.0.0.1', port, spare_allowed: true }
  }
  return {
    places,
    write(port, text) {
      for (const socket of clients.get(port) ?? []) socket.write(text, 'latin1')
    },
    close() {
      for (const sockets of clients.values()) for (const socket of sockets) socket.destroy()
      for (const server of servers) server.close()
    },
  }
}
