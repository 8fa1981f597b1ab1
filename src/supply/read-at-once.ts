import { readSync } from 'node:fs'
import type { SerialPort } from 'serialport'

/**
 * The library reads in a pool of threads that files and names share: a reply waits for a thread, and then for the next turn of
 * the event loop. Here it is read in the turn in which the system tells of it, on the same descriptor, which does not block.
 * One read a turn: a flood without an end must leave the turn to timers. Whatever is no plain success is left to the library's
 * own read, which meets the same and deals with it.
 */
export function readAtOnce(port: SerialPort): void {
  // Before any other listener: the stream's own first read begins with this same event.
  port.once('open', () => {
    const { port: binding } = port
    if (process.platform !== 'linux' || binding === undefined || !('poller' in binding)) return
    const later = binding.read.bind(binding)
    binding.read = (buffer, offset, length) =>
      new Promise((resolve, reject) => {
        binding.poller.once('readable', (error) => {
          const bytesRead = error === null ? taken(binding.fd, buffer, offset, length) : 0
          if (error !== null) reject(error)
          else if (bytesRead > 0) resolve({ buffer, bytesRead })
          else later(buffer, offset, length).then(resolve, reject)
        })
      })
  })
}

function taken(fd: number | null, buffer: Buffer, offset: number, length: number): number {
  if (fd === null) return 0
  try {
    return readSync(fd, buffer, offset, length, null)
  } catch {
    return 0
  }
}
