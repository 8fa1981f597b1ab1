import { closeSync, fsyncSync, openSync, unlinkSync, writeSync } from 'node:fs'

/** One file of an archive; `data` is asked for when its turn comes, so that only one lies in memory. */
export interface ArchiveFile {
  readonly name: string
  readonly data: () => Uint8Array
}

const blockBytes = 512
/** What eleven octal digits hold. */
const largest_bytes = 8 * 1024 * 1024 * 1024

/**
 * An archive that any system opens: tar as POSIX.1-1988 has it (ustar), not compressed, since photographs and runs are already.
 * Never written over; what could not be written whole is taken away again. Throws what the file system says.
 */
export function writeArchive(path: string, files: readonly ArchiveFile[], modified: Date): void {
  const out = openSync(path, 'wx')
  let whole = false
  try {
    for (const { name, data } of files) {
      const bytes = data()
      put(out, header(name, bytes.length, modified))
      put(out, bytes)
      put(out, new Uint8Array((blockBytes - (bytes.length % blockBytes)) % blockBytes))
    }
    put(out, new Uint8Array(2 * blockBytes))
    fsyncSync(out)
    whole = true
  } finally {
    closeSync(out)
    if (!whole) unlinkSync(path)
  }
}

function put(out: number, bytes: Uint8Array): void {
  for (let at = 0; at < bytes.length; ) at += writeSync(out, bytes, at)
}

function header(name: string, bytes: number, modified: Date): Uint8Array {
  if (bytes >= largest_bytes) throw new Error(`${name} is too large for an archive`)
  const { prefix, base } = split(name)
  const block = Buffer.alloc(blockBytes)
  const octal = (value: number, digits: number): string => value.toString(8).padStart(digits, '0')
  block.write(base, 0, 100)
  block.write(octal(0o644, 7), 100)
  block.write(octal(0, 7), 108)
  block.write(octal(0, 7), 116)
  block.write(octal(bytes, 11), 124)
  block.write(octal(Math.max(0, Math.floor(modified.getTime() / 1000)), 11), 136)
  // The sum is made with its own place filled with blanks.
  block.write('        ', 148)
  block.write('0', 156)
  block.write('ustar\x0000', 257, 'latin1')
  block.write(prefix, 345, 155)
  const sum = block.reduce((all, byte) => all + byte, 0)
  block.write(`${octal(sum, 6)}\0 `, 148, 'latin1')
  return block
}

/** A name of more than 100 bytes is parted at a slash. */
function split(name: string): { readonly prefix: string; readonly base: string } {
  if (Buffer.byteLength(name) <= 100) return { prefix: '', base: name }
  for (let at = name.indexOf('/'); at >= 0; at = name.indexOf('/', at + 1)) {
    const prefix = name.slice(0, at)
    const base = name.slice(at + 1)
    if (Buffer.byteLength(prefix) <= 155 && Buffer.byteLength(base) <= 100) return { prefix, base }
  }
  throw new Error(`${name} is too long a name for an archive`)
}
