import { syncBuiltinESMExports } from 'node:module'
import tty from 'node:tty'
import { afterEach, describe, expect, it, vi } from 'vitest'
import { openPort, type Connection, type Trouble } from '../../src/supply/index.js'
import { openPty, skipWithoutSocat } from '../helpers/pty.js'

/** What the system says of every descriptor from here on, to all who imported the question. */
function saysTerminal(terminal: boolean): void {
  vi.spyOn(tty, 'isatty').mockReturnValue(terminal)
  syncBuiltinESMExports()
}

const cleanups: (() => unknown)[] = []
afterEach(async () => {
  vi.restoreAllMocks()
  syncBuiltinESMExports()
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup()
})

describe.skipIf(skipWithoutSocat())(
  'a hung-up terminal that the library goes on reading without a word (F3)',
  () => {
    it('is noticed by asking the system whether it still is one, told once, and closed', async () => {
      const far = await openPty()
      cleanups.push(() => far.hangUp())
      const troubles: Trouble[] = []
      let connection: Connection | null = null
      await new Promise<void>((resolve) => {
        connection = openPort(
          { kind: 'serial', path: far.path, baud: 115_200, spare_allowed: true },
          {
            opened: resolve,
            text: () => undefined,
            discarded: () => undefined,
            closed: (trouble) => troubles.push(trouble),
          },
        )
      })
      const open = connection as unknown as Connection
      cleanups.push(() => open.close())
      expect([open.isOpen, troubles]).toEqual([true, []])
      saysTerminal(false)
      while (troubles.length === 0) await new Promise((resolve) => setTimeout(resolve, 5))
      expect(troubles).toEqual([expect.objectContaining({ kind: 'gone' })])
      expect(troubles[0]?.text).toContain('the terminal is gone')
      expect(open.write(':VOLT 300\n')).toBe(false)
      expect(open.isOpen).toBe(false)
    })
  },
)
