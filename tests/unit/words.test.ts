import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { Command } from 'commander'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import type { Io } from '../../src/cli/io.js'
import { registerRehearse } from '../../src/cli/commands/rehearse.js'
import { registerSafeOff } from '../../src/cli/commands/safe-off.js'
import { replayAll } from '../helpers/replayed.js'

let folder = ''
beforeEach(() => {
  folder = mkdtempSync(join(tmpdir(), 'words-'))
})
afterEach(() => {
  replayAll(folder)
  rmSync(folder, { recursive: true })
  process.exitCode = 0
})

async function slowglow(...args: string[]): Promise<{ out: string; exit: number }> {
  let said = ''
  const io: Io = {
    ...{ out: (text: string) => (said += `${text}\n`), err: () => undefined },
    ...{ isTerminal: false, colour: false, cwd: process.cwd(), env: { XDG_STATE_HOME: folder } },
  }
  const program = new Command().exitOverride().configureOutput({ writeOut: io.out })
  registerRehearse(program, io)
  registerSafeOff(program, io)
  await program.parseAsync(args, { from: 'user' }).catch(() => undefined)
  for (const signal of ['SIGINT', 'SIGTSTP', 'SIGHUP', 'SIGTERM']) process.removeAllListeners(signal)
  return { out: said, exit: Number(process.exitCode) }
}

describe('safe-off on a bench of nothing but knobs', () => {
  it('says that nothing here can be switched and what the person does, HT first; it confirms nothing', async () => {
    const bench = join(folder, 'bench.yaml')
    writeFileSync(bench, 'slowglow: bench 1\nname: Knobs\nkind: real\nsupplies: {}\n')
    const { out, exit } = await slowglow('safe-off', '--bench', bench)
    expect(out).toMatch(/^Nothing here can be switched by slowglow: .*HT mains off first/)
    expect(out).not.toMatch(/virtual|confirmed off/i)
    expect(out).toContain('Measure before touching')
    expect(exit).toBe(1)
    const json: unknown = JSON.parse((await slowglow('safe-off', '--bench', bench, '--json')).out)
    expect(json).toMatchObject({ outputs_off: 'not confirmed', stored_charge: 'not measured' })
  })
})

describe('faults', () => {
  it('are listed by kind under the help of rehearse', async () => {
    const { out } = await slowglow('rehearse', '--help')
    expect(out).toMatch(/capacitor: short\[=Ω\], leaky=Ω, open, low\[=TIMES\]/)
    expect(out).toMatch(/tube: heater-open/)
    expect(out).toContain('steps count from 1')
  })

  it('that never came are said at the end', async () => {
    const profile = 'profiles/tern-rock/receive.yaml'
    const { out } = await slowglow(
      ...[
        'rehearse',
        profile,
        '--fault',
        'V1:heater-open@step=77',
        '--fault',
        'HT:lead-off',
        '--out',
        folder,
      ],
    )
    expect(out).toContain('Faults put in: HT:lead-off\n')
    expect(out).toContain('Never came: V1:heater-open@step=77\n')
  })
})
