import { copyFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, afterEach, expect, it } from 'vitest'
import { readBook } from '../../src/book/index.js'
import { PageRun, ServeProcess } from '../helpers/serve.js'
import { LiveRun } from '../helpers/live-run.js'
import { plain } from '../helpers/terminal.js'

/** The interlock of the cold checks in a whole start at a terminal, on the demo's bench. */

const dir = mkdtempSync(join(tmpdir(), 'slowglow-cold-'))
afterAll(() => {
  rmSync(dir, { recursive: true, force: true })
})
const ends: (() => Promise<void>)[] = []
afterEach(async () => {
  for (const end of ends.splice(0).reverse()) await end()
})
for (const name of ['equipment.yaml', 'bench.yaml'])
  copyFileSync(`profiles/tern-rock/${name}`, join(dir, name))
const profile = join(dir, 'receive.yaml')
writeFileSync(
  profile,
  readFileSync('tests/helpers/short/receive.yaml', 'utf8')
    .replace(/^equipment: .*$/m, 'equipment: equipment.yaml')
    .replace(/^bench: .*$/m, 'bench: bench.yaml'),
)
const set = join(dir, 'equipment.yaml')

it('a cold fault keeps the set from power until it is waived in writing; the waiver stands in the run, the run in the book', async () => {
  expect((await plain(['worksheet', set, '--record', 'C17 leak=40 MΩ'])).code).toBe(1)
  const refused = new LiveRun([profile, '--speed', '20'])
  ends.push(() => refused.end())
  expect(await refused.exit()).toBe(1)
  expect(refused.session.seen).toContain('keep it from power')
  expect(refused.session.seen).not.toContain('type the word')
  const serve = await ServeProcess.start(dir)
  ends.push(async () => {
    await serve.end()
    serve.forget()
  })
  const page = new PageRun(serve)
  await serve.ask('start', { body: { profile: 'receive.yaml', speed: 20 } })
  const shown = await page.page.shows(({ phase }) => phase === 'refused' || phase === 'cautions')
  expect(shown.refused).toMatchObject({ code: 'findings' })
  expect(shown.refused?.what).toContain('keep it from power')
  page.end()
  expect((await plain(['book', set, '--waive', 'C17 leak', '--because', 'V8 is watched by hand'])).code).toBe(
    0,
  )
  const run = new LiveRun([profile, '--speed', '20'])
  ends.push(() => run.end())
  await run.acknowledge()
  // Its first question: there is a run by now, and a record of it.
  await run.session.shows('y or n > ', 60_000)
  run.session.type('\u0003')
  expect(await run.exit(60_000)).toBe(7)
  const record = run.record()
  expect(record.known?.plan.unproved.join('\n')).toMatch(
    /WAIVED cold check C17 leak: 40 MΩ.*V8 is watched by hand/,
  )
  expect(readBook(join(dir, 'equipment.book'))).toMatchObject({
    entries: [
      {},
      { body: { kind: 'waiver' } },
      {
        body: {
          ...{ kind: 'run', outcome: 'stopped', outputs_off: 'confirmed', bench_kind: 'virtual' },
          seal: expect.stringMatching(/^[0-9a-f]{64}$/) as string,
        },
      },
    ],
  })
}, 120_000)
