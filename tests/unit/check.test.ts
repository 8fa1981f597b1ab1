import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, beforeEach, describe, expect, it } from 'vitest'
import { check } from '../../src/cli/commands/check.js'
import { qualificationFile } from '../../src/files/index.js'
import { figures, qualification } from '../helpers/unattended.js'
import { soundBench, soundProfile, soundSet } from '../helpers/files.js'

let dir = ''
let printed: string[] = []
const run = (files: readonly string[], json = false): number => {
  printed = []
  const out = (text: string): void => void printed.push(text)
  return check(files, json, { out, err: out, isTerminal: false, colour: false, cwd: dir, env: {} })
}
const put = (name: string, text: string | Uint8Array): void => {
  writeFileSync(join(dir, name), text)
}
beforeEach(() => {
  dir = mkdtempSync(join(tmpdir(), 'slowglow-check-'))
  put('equipment.yaml', soundSet)
  put('bench.yaml', soundBench)
  put('profile.yaml', soundProfile)
})
afterEach(() => rmSync(dir, { recursive: true, force: true }))

describe('slowglow check', () => {
  it('of a sound profile checks the files it names with it, and exits 0', () => {
    expect(run(['profile.yaml'])).toBe(0)
    expect(printed).toEqual(['3 files checked: nothing wrong.'])
  })

  it('exits 1 and shows file:line:column, what is wrong and what would be right', () => {
    put('equipment.yaml', soundSet.replace('value: 8k2', 'value: 8 mA'))
    expect(run(['equipment.yaml'])).toBe(1)
    expect(printed[0]).toMatch(
      /^equipment\.yaml:\d+:\d+: '8 mA' is a current; a resistance is wanted here\n {4}write it such as/,
    )
    expect(printed.at(-1)).toMatch(/1 file checked: 1 thing wrong/)
  })

  it('tells what is wrong in the set and the bench though the profile itself has a slip', () => {
    put('profile.yaml', soundProfile.replace('kind:', 'knid:'))
    put('equipment.yaml', soundSet.replace('value: 8k2', 'value: 8 mA'))
    expect(run(['profile.yaml'])).toBe(1)
    expect(printed.join('\n')).toContain('knid')
    expect(printed.join('\n')).toMatch(/^equipment\.yaml:\d+:\d+: '8 mA' is a current/m)
  })

  it('warns of bias that hangs on which outputs a dead-man takes, until that was measured', () => {
    const words = readFileSync('firmware-protocol/dialects/numbered-words.yaml', 'utf8')
    put(
      'shared.yaml',
      words.replace('feeds: screen\n        role: screen', 'feeds: bias\n        role: bias'),
    )
    const measuredAs = (did: 'stayed on' | 'went off'): void => {
      const outputs = [{ channel: 'BENCH.screen', did, stated: 'stays' as const }]
      const fired = { of: 'dead-man', verdict: 'fired', said: true, after_s: 2, text: '', outputs } as const
      const identity = 'INVENTED,NUMBERED WORDS,7,2.1'
      const measured = qualification(['BENCH.plate'], new Date().toISOString(), {
        'BENCH.plate': { identity, figures: { ...figures, proofs: [fired] } },
      })
      put('shared.qualification.yaml', qualificationFile(measured))
    }
    expect(run(['shared.yaml'])).toBe(0)
    expect(printed.join('\n')).toMatch(
      /^shared\.yaml:\d+:\d+: .*dead-man of BENCH\.plate leaves the bias \(BENCH\.screen\) on is stated and was never seen/,
    )
    expect(printed.join('\n')).toContain('slowglow qualify --channel BENCH.plate')
    measuredAs('stayed on')
    expect(run(['shared.yaml'])).toBe(0)
    expect(printed).toEqual(['1 file checked: nothing wrong.'])
    measuredAs('went off')
    expect(run(['shared.yaml'])).toBe(1)
    expect(printed.join('\n')).toMatch(/dead-man of BENCH\.plate takes the bias \(BENCH\.screen\) with it/)
  })

  it('tells a problem once, however many of the files given lead to it', () => {
    put('equipment.yaml', soundSet.replace('value: 8k2', 'value: 8 mA'))
    expect(run(['profile.yaml', 'equipment.yaml', 'bench.yaml'], true)).toBe(1)
    const { ok, files, problems } = JSON.parse(printed.join('')) as {
      ok: boolean
      files: unknown[]
      problems: unknown[]
    }
    expect({ ok, files: files.length, problems: problems.length }).toEqual({
      ok: false,
      files: 3,
      problems: 1,
    })
  })

  it('judges a set and a bench given without a profile together', () => {
    put('bench.yaml', soundBench.replace('isolation: 500 V', 'isolation: 100 V'))
    expect(run(['equipment.yaml', 'bench.yaml'])).toBe(1)
    expect(printed[0]).toMatch(/^bench\.yaml:\d+:\d+: high\.out would stand/)
  })

  it('knows each file by its content, whatever its name', () => {
    put('anything.txt', soundBench)
    expect(run(['anything.txt'], true)).toBe(0)
    expect(JSON.parse(printed.join(''))).toMatchObject({ files: [{ file: 'anything.txt', kind: 'bench' }] })
  })

  it.each([
    ['a file that is not there', 'absent.yaml', /no such file/],
    ['a directory', '.', /not a file/],
    ['a file that does not say what it is', 'plain.yaml', /does not say what it is/],
    ['a file that is not text', 'binary.yaml', /not UTF-8/],
    ['a file with broken YAML', 'broken.yaml', /not YAML/],
    ['a file that is far too large', 'large.yaml', /larger than/],
  ])('exits 1 with a clear sentence for %s', (_, name, says) => {
    mkdirSync(join(dir, 'sub'))
    put('plain.yaml', 'name: x\n')
    put('binary.yaml', new Uint8Array([0xff, 0xfe, 0x00, 0x81]))
    put('broken.yaml', 'slowglow: equipment 1\nname: [a\n')
    put('large.yaml', 'a'.repeat(600_000))
    expect(run([name])).toBe(1)
    expect(printed[0]).toMatch(says)
  })

  it('says that a file named by the profile is missing, or is of the wrong kind', () => {
    put('profile.yaml', soundProfile.replace('bench: bench.yaml', 'bench: equipment.yaml'))
    expect(run(['profile.yaml'])).toBe(1)
    expect(printed[0]).toMatch(/this is an equipment file; a bench file is wanted here/)
    put('profile.yaml', soundProfile.replace('equipment: equipment.yaml', 'equipment: gone.yaml'))
    expect(run(['profile.yaml'])).toBe(1)
    expect(printed[0]).toMatch(/gone\.yaml:1:1: there is no such file/)
  })
})
