import { readSync } from 'node:fs'
import type { SerialPort } from 'serialport'

const most_bytes = 4096

/**
 * The library reads in a pool of threads that files and names share: a reply waits for a thread, then for a promise and for
 * the stream's own turn. Here it is read and handed on in the turn in which the system tells of it, on the same descriptor,
 * which does not block. One read a turn: a flood without an end must leave the turn to timers. Whatever is no plain success
 * is left to the library's own read, which meets the same and deals with it; what that one brings comes by the stream.
 */
export function readAtOnce(port: SerialPort, take: (bytes: Uint8Array) => void): void {
  // Before any other listener: the stream's own first read begins with this same event.
  port.once('open', () => {
    const { port: binding } = port
    if (process.platform !== 'linux' || binding === undefined || !('poller' in binding)) return
    const later = binding.read.bind(binding)
    const bytes = Buffer.alloc(most_bytes)
    binding.read = (buffer, offset, length) =>
      new Promise((resolve, reject) => {
        const readable = (error: Error | null): void => {
          const count = error === null ? taken(binding.fd, bytes) : 0
          if (error !== null) reject(error)
          else if (count === 0) later(buffer, offset, length).then(resolve, reject)
          else {
            take(bytes.subarray(0, count))
            // What was done with them may have closed the port.
            if (binding.isOpen) binding.poller.once('readable', readable)
            else reject(Object.assign(new Error('The port was closed.'), { canceled: true }))
          }
        }
        binding.poller.once('readable', readable)
      })
  })
}

function taken(fd: number | null, bytes: Buffer): number {
  if (fd === null) return 0
  try {
    return readSync(fd, bytes)
  } catch {
    return 0
  }
}
