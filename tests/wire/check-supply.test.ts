import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import type { Supply } from '../../src/bench/index.js'
import { loadBench } from '../../src/files/index.js'
import { type LiveSupply, liveSupply } from '../helpers/live-supply.js'
import { openPty, skipWithoutSocat } from '../helpers/pty.js'
import { plain, TerminalSession } from '../helpers/terminal.js'
import { vectorShape } from '../helpers/vectors.js'

const ends: (() => Promise<void> | void)[] = []
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end()
})

interface Behind {
  readonly bench: string
  readonly live: LiveSupply
  readonly folder: string
  readonly heard: string[]
}

/** A supply of firmware-protocol/dialects on a real terminal line; `quirk` changes what it is, hears or says. */
async function behind(
  file: string,
  quirk: {
    readonly is?: (supply: Supply) => Supply
    readonly hears?: (text: string) => string
    readonly says?: (text: string) => string
  } = {},
): Promise<Behind> {
  const pty = await openPty()
  ends.push(() => pty.hangUp())
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  ends.push(() => {
    rmSync(folder, { recursive: true, force: true })
  })
  const bench = join(folder, 'bench.yaml')
  const text = readFileSync(`firmware-protocol/dialects/${file}.yaml`, 'utf8')
  writeFileSync(
    bench,
    text
      .replace('reply_within: 200 ms', 'reply_within: 1 s')
      .replace(/line: \{.*\}/, `line: { kind: serial, path: ${pty.path}, baud: 115200 }`),
  )
  const [supply] = Object.values(loadBench(bench).value?.supplies ?? {})
  if (supply === undefined) throw new Error(`${file} has no supply`)
  const heard: string[] = []
  const is = quirk.is ?? ((own: Supply): Supply => own)
  const hears = quirk.hears ?? ((own: string): string => own)
  const says = quirk.says ?? ((own: string): string => own)
  const live = liveSupply(is(supply), {
    onData: (hear) => {
      pty.onData((said) => {
        heard.push(said)
        hear(hears(said))
      })
    },
    write: (said) => {
      pty.write(says(said))
    },
  })
  for (const [name, face] of Object.entries(live.faces))
    Object.assign(face, {
      limit_A: supply.channels[name]?.max_A ?? 0,
      over_V: supply.channels[name]?.max_V ?? 0,
    })
  ends.push(() => {
    live.stop()
  })
  return { bench, live, folder, heard }
}

/** Half a line is said on purpose, and not understood. */
const abuses = (live: LiveSupply): readonly string[] =>
  live.device.abuses().filter((what) => !what.includes('is not understood'))

interface Document {
  readonly check: Readonly<
    Record<
      string,
      {
        readonly trouble: string | null
        readonly not_off: readonly string[]
        readonly played: readonly {
          readonly transcript: string
          readonly answers: number
          readonly differences: readonly {
            readonly sent: string
            readonly got: string
            readonly means: string
          }[]
        }[]
      }
    >
  >
}
async function check(
  bench: string,
  ...more: string[]
): Promise<{ code: number | null; found: Document['check'][string] }> {
  const { code, out, err } = await plain(['supplies', '--bench', bench, '--check', '--json', ...more])
  const [found] = Object.values((JSON.parse(out) as Partial<Document>).check ?? {})
  if (found === undefined) throw new Error(out + err)
  return { code, found }
}
const differences = (found: Document['check'][string]): string =>
  found.played.flatMap((each) => each.differences.map(({ got, means }) => `${got}: ${means}`)).join('\n')

describe.skipIf(skipWithoutSocat())('slowglow supplies --check', () => {
  it.each(['channel-lists', 'numbered-words', 'short-words'])(
    'finds nothing against the supply of %s, and sets nothing',
    async (file) => {
      const { bench, live } = await behind(file)
      const before = JSON.stringify(live.faces)
      const { code, found } = await check(bench)
      expect(differences(found)).toBe('')
      expect(found.trouble).toBeNull()
      expect(code).toBe(0)
      expect(found.played.reduce((sum, { answers }) => sum + answers, 0)).toBeGreaterThan(20)
      expect(JSON.stringify(live.faces)).toBe(before)
      expect(abuses(live)).toEqual([])
    },
    60_000,
  )

  it('tells line by line where a supply does otherwise, and what it means', async () => {
    const glued = await behind('numbered-words', {
      is: (supply) => ({ ...supply, dialect: { ...supply.dialect, unit_in_reply: true } }),
    })
    const { code, found } = await check(glued.bench)
    expect(code).toBe(1)
    expect(differences(found)).toMatch(
      /That is no number of section 2\. Without measured volts no rail can be judged/,
    )
    let asked = 0
    const another = await behind('numbered-words', {
      says: (text) => text.replace(/,(\d[\d.]*)(?=\r|\n)/, (_, last: string) => `,${last}${asked++}`),
    })
    const plainly = await plain(['supplies', '--bench', another.bench, '--check'])
    expect(plainly.code).toBe(1)
    expect(plainly.out).toMatch(
      /the identity is the same each time: NO\n +To "\S+" it should say ".*"; it said ".*" after \d+ ms/,
    )
  }, 60_000)

  it('writes the talk down in the form of the transcripts', async () => {
    const { bench, folder } = await behind('numbered-words')
    const file = join(folder, 'said.json')
    await check(bench, '--write', file)
    const vector = vectorShape.parse(JSON.parse(readFileSync(file, 'utf8')))
    expect(vector.steps.filter((step) => 'supply' in step).length).toBeGreaterThan(20)
  }, 60_000)

  it('sets nothing without a terminal on which the cautions are acknowledged', async () => {
    const { bench, heard } = await behind('numbered-words')
    const { code, err } = await plain(['supplies', '--bench', bench, '--check', '--sets'])
    expect(code).toBe(2)
    expect(err).toContain('Given up before anything was set')
    expect(heard.join('')).toBe('')
  }, 60_000)
})

/** On a terminal, with the cautions read and their word typed. */
async function withSettings(bench: string): Promise<{ code: number | null; seen: string }> {
  const session = TerminalSession.start(['supplies', '--bench', bench, '--check', '--sets'])
  ends.push(() => session.end())
  const [, word = ''] = await session.shows(/type the word: (\w+)/)
  session.type(`${word}\r`)
  const code = await session.exit(60_000)
  return { code, seen: session.seen.replaceAll(/\s+/g, ' ') }
}

describe.skipIf(skipWithoutSocat())('slowglow supplies --check --sets', () => {
  it.each(['channel-lists', 'numbered-words', 'short-words'])(
    'plays the settings of %s too: never on, and at its lowest and off afterwards',
    async (file) => {
      const { bench, live } = await behind(file)
      let ever = false
      const watching = setInterval(() => {
        ever ||= Object.values(live.faces).some(({ on, set_V }) => on || set_V > 0)
      }, 1)
      const { code, seen } = await withSettings(bench)
      clearInterval(watching)
      expect(seen).toContain('THE VOLTAGES INSIDE KILL')
      expect(seen).not.toMatch(/: NO /)
      expect(code).toBe(0)
      expect(ever).toBe(false)
      expect(abuses(live)).toEqual([])
    },
    90_000,
  )

  it('finds a supply that a garbled command sets, and leaves it at its lowest', async () => {
    const { bench, live } = await behind('numbered-words', { hears: (text) => text.replace('fast', '7') })
    const { code, seen } = await withSettings(bench)
    expect(code).toBe(1)
    expect(seen).toMatch(/nonsense changes nothing: NO .* changed the set-point/)
    expect(Object.values(live.faces).map(({ on, set_V }) => [on, set_V])).toEqual(
      Object.values(live.faces).map(() => [false, 0]),
    )
  }, 90_000)

  it('is given up by Ctrl-C before the word, and nothing was said on the line', async () => {
    const { bench, heard } = await behind('numbered-words')
    const session = TerminalSession.start(['supplies', '--bench', bench, '--check', '--sets'])
    ends.push(() => session.end())
    await session.shows(/type the word: \w+/)
    session.type('\u0003')
    expect(await session.exit(20_000)).toBe(7)
    expect(heard.join('')).toBe('')
  }, 60_000)

  it('sets nothing where an output is on', async () => {
    const { bench, live, heard } = await behind('numbered-words')
    const [face] = Object.values(live.faces)
    if (face) Object.assign(face, { on: true, set_V: 100 })
    const { code, seen } = await withSettings(bench)
    expect(code).toBe(5)
    expect(seen).toContain('so nothing was set: switch it off first')
    expect(face).toMatchObject({ on: true, set_V: 100 })
    expect(heard.join('')).not.toMatch(/VOLT\d? \d/)
  }, 90_000)
})
