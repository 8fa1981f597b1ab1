import { describe, expect, it } from 'vitest'
import { overSsh } from '../../src/cli/live/over-ssh.js'

describe('a terminal that is reached by ssh', () => {
  it('is told with the address it is reached from', () => {
    expect(overSsh({ SSH_CONNECTION: '192.0.2.9 51514 192.0.2.7 22' })).toEqual({
      text: 'This terminal is reached by ssh, from 192.0.2.9.',
      data: { channel: 'terminal', by: 'ssh', from: '192.0.2.9' },
    })
    expect(overSsh({ SSH_CLIENT: 'fe80::1%eth0 51514 22' })?.data.from).toBe('fe80::1%eth0')
  })
  it('is told without one where there is none, and never with what moves a cursor', () => {
    expect(overSsh({ SSH_TTY: '/dev/pts/3' })?.text).toContain('an address that is not told')
    expect(overSsh({ SSH_CONNECTION: '\u001b[2J' })?.data.from).toBe('not told')
  })
  it('is not taken for one where nothing says so', () => {
    expect(overSsh({ USER: 'a', TERM: 'linux' })).toBeNull()
  })
})
