import { spawnSync } from 'node:child_process'
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'

const main = resolve(import.meta.dirname, '../../dist/cli/main.js')
const rock = resolve(import.meta.dirname, '../../profiles/tern-rock')
const dir = mkdtempSync(join(tmpdir(), 'slowglow-json-'))
afterAll(() => {
  rmSync(dir, { recursive: true, force: true })
})

/** The demo's bench with its lines on a network port where nobody listens. */
const deaf = join(dir, 'deaf.yaml')
writeFileSync(
  deaf,
  readFileSync(join(rock, 'bench.yaml'), 'utf8')
    .replace(/^kind: virtual.*$/m, 'kind: real')
    .replace(/^(?:equipment|seed|faults):.*\n/gm, '')
    .replace(
      /line: \{ kind: virtual[^}]*\}/g,
      (_, at: number) => `line: { kind: tcp, host: 127.0.0.1, port: ${1 + (at % 900)} }`,
    ),
)
const profile = join(rock, 'receive.yaml')
writeFileSync(
  join(dir, 'alone.yaml'),
  readFileSync(profile, 'utf8')
    .replace(/^bench:.*\n/m, '')
    .replace(/^equipment:.*$/m, `equipment: ${join(rock, 'equipment.yaml')}`),
)

function slowglow(...args: readonly string[]) {
  const { status, stdout, stderr } = spawnSync(process.execPath, [main, ...args], {
    cwd: dir,
    input: '',
    encoding: 'utf8',
    env: { ...process.env, XDG_STATE_HOME: dir },
  })
  return { status, stdout, stderr }
}

/** A command line that is refused before anything is done, and with which code. */
const refusals: readonly (readonly [exit: number, ...args: string[]])[] = [
  [2, 'no-such-command'],
  [2, 'new'],
  [2, 'new', 'set'],
  [2, 'check'],
  [2, 'tube'],
  [2, 'tube', '6V6GT', '--at', 'x'],
  [2, 'tube', '6V6GT', '--at', 'plate_V=250', '--section', 'none such'],
  [2, 'plan'],
  [2, 'plan', 'alone.yaml'],
  [1, 'plan', 'absent.yaml'],
  [2, 'rehearse', 'alone.yaml'],
  [1, 'rehearse', 'absent.yaml'],
  [2, 'rehearse', profile, '--seed', 'many'],
  [2, 'rehearse', profile, '--fault', 'C99:short'],
  [6, 'rehearse', profile, '--out', join(dir, 'deaf.yaml')],
  [2, 'run', 'alone.yaml'],
  [1, 'run', 'absent.yaml'],
  [2, 'run', profile],
  [2, 'run', profile, '--speed', '99'],
  [2, 'run', profile, '--bench', deaf, '--speed', '2'],
  [2, 'safe-off'],
  [1, 'safe-off', '--bench', 'absent.yaml'],
  [5, 'safe-off', '--bench', join(rock, 'bench.yaml')],
  [2, 'supplies'],
  [1, 'supplies', '--bench', 'absent.yaml'],
  [2, 'virtual-bench'],
  [2, 'virtual-bench', '--bench', join(rock, 'bench.yaml')],
  [1, 'virtual-bench', '--bench', deaf, '--pty'],
  [6, 'runs', 'absent'],
  [6, 'show', 'absent'],
  [2, 'show'],
]

describe('under --json', () => {
  for (const [exit, ...args] of refusals) {
    const words = args.map((arg) => arg.replace(`${rock}/`, '').replace(`${dir}/`, '')).join(' ')
    it(`"${words}" ends with ${exit} and one document saying what is wrong, nothing else on standard output`, () => {
      const { status, stdout, stderr } = slowglow(...args, '--json')
      expect(status).toBe(exit)
      const { error } = JSON.parse(stdout) as { error: { exit: number; what: string } }
      expect(error.exit).toBe(exit)
      expect(error.what.length).toBeGreaterThan(10)
      expect(stderr).toContain(error.what)
    })
  }

  it('supplies that cannot be reached are each told in the document, with 5', () => {
    const { status, stdout } = slowglow('supplies', '--bench', deaf, '--json')
    expect(status).toBe(5)
    const told = JSON.parse(stdout) as { supplies: Record<string, { trouble: string | null }> }
    for (const { trouble } of Object.values(told.supplies)) expect(trouble).not.toBeNull()
  })

  it('without it the same is said on standard error alone', () => {
    const { status, stdout, stderr } = slowglow('rehearse', profile, '--fault', 'C99:short')
    expect([status, stdout]).toEqual([2, ''])
    expect(stderr).toMatch(/C99.*There are/s)
  })
})
