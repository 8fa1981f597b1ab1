import { existsSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { appendToBook, readBook } from '../../src/book/index.js'
import { photosInBook, readPhoto, withPhoto } from '../../src/cli/live/photo.js'
import { typeKey } from '../../src/cli/live/keys.js'
import { answerOf } from '../../src/session/index.js'
import type { Plan, Step } from '../../src/plan/index.js'
import type { Stage } from '../../src/profile/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'
import { demo, planned, ramp, refusal } from '../helpers/small-set.js'

/* What a person is asked in a run: the window, why it is that, what may be touched, and the photograph that goes with it. */

const receive = demo('tern-rock/receive')
type Question = Extract<Stage, { do: 'ask' }>
const question = (more: Partial<Question>): Question => ({
  ...{ do: 'ask', name: 'a question', text: 'Look at it.', reading: null, timeout_s: null, inside: false },
  ...more,
})
const asking = (...stages: readonly Stage[]): Plan =>
  planned({
    ...receive,
    profile: {
      ...receive.profile,
      stages: [...receive.profile.stages.slice(0, 4), ramp('HT', [100]), ...stages],
    },
  })
const reading = (node: string, more: object = {}) => ({
  node,
  unit: 'V' as const,
  low: null,
  high: null,
  ...more,
})
const asked = ({ steps }: Plan) => steps.flatMap(({ ask }) => (ask?.about === 'reading' ? [ask] : []))

describe('the window of a reading', () => {
  it('is what the named meter reads there, loading it by its ohms, and says so', () => {
    const [at] = asked(asking(question({ reading: reading('v7 plate 1') })))
    expect(at?.wants).toMatchObject({ meter: { name: 'hand meter', ohm: 10e6 } })
    if (at?.wants.kind !== 'reading') throw new Error('a reading')
    expect(at.text).toContain(at.wants.because)
    // 220 k in the plate lead, beside 10 MΩ of meter: some percent less than nothing clipped on.
    const [, bare, loaded] =
      /makes ([\d.]+) V there, and ([\d.]+) V as hand meter \(10 MΩ\) loads it/.exec(at.text) ?? []
    expect(Number(loaded) / Number(bare)).toBeLessThan(0.995)
    expect(at.wants.low).toBeCloseTo(0.8 * Number(loaded), 0)
    // A node that no meter loads says that.
    const [stiff] = asked(asking(question({ reading: reading('reservoir') })))
    expect(stiff?.text).toContain('which hand meter (10 MΩ) does not load')
  })
  it('with a meter that draws more the window moves with it', () => {
    const hand = receive.bench.meters['hand meter']
    if (hand === undefined) throw new Error('hand meter')
    const meters = { ...receive.bench.meters, 'hand meter': { ...hand, ohm: 250e3 } }
    const poor = planned({
      ...receive,
      bench: { ...receive.bench, meters },
      profile: {
        ...receive.profile,
        stages: [
          ...receive.profile.stages.slice(0, 4),
          ramp('HT', [100]),
          question({ reading: reading('v7 plate 1') }),
        ],
      },
    })
    const high = (plan: Plan): number => {
      const wants = asked(plan)[0]?.wants
      return wants?.kind === 'reading' ? wants.high : 0
    }
    expect(high(poor)).toBeLessThan(0.9 * high(asking(question({ reading: reading('v7 plate 1') }))))
  })
  it('is judged at once, and what was read stands in its closing', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('the question', () => rig.state.prompt?.purpose.kind === 'polarity')
    const from = rig.commands.length
    rig.feed({ kind: 'answer', prompt: rig.state.prompt?.id ?? 0, value: 3, by: 'page' })
    expect(rig.commands.slice(from).find(({ kind }) => kind === 'prompt closed')).toMatchObject({
      why: 'answered: 3 V, within 500 mV to 4 V',
    })
  })
})

describe('what may be touched at voltage', () => {
  it('a probe goes on with HT down, whatever the profile says of its question', () => {
    const { steps } = asking(question({ reading: reading('v8 cathode'), inside: false }))
    const from = steps.findIndex(({ do: does }) => does === 'lower')
    expect(steps.slice(from).map(({ do: does, ask }) => [does, ask?.inside ?? null])).toEqual([
      ['lower', null],
      ['ask', true],
      ['raise', null],
      ['ask', false],
      ['lower', null],
      ['ask', true],
      ['raise', null],
    ])
    expect(steps.find(({ ask }) => ask?.about === 'reading')?.ask?.text).toContain(
      'no hand, probe, clip or tool goes in',
    )
  })
  it("the set's own meter is read where it stands, and needs its window in the profile", () => {
    const { steps } = asking(question({ reading: reading('S meter', { panel: true, low: 0, high: 9 }) }))
    expect(steps.some(({ do: does }) => does === 'lower')).toBe(false)
  })
  it('peaking asks for panel controls alone, by one hand and insulated tools, with the figure that is watched', () => {
    const turn = ['RF gain', 'volume']
    const [ask] = asked(asking(question({ text: 'Peak the input.', turn, watch: 'HT' })))
    expect(ask).toMatchObject({ figure: 'HT', inside: false })
    expect(ask?.text).toMatch(
      /^One hand, insulated tools only, on RF gain, then volume, watching HT\. Peak the input\./,
    )
    const refused = (more: Partial<Question>): string =>
      refusal({
        ...receive,
        profile: {
          ...receive.profile,
          stages: [...receive.profile.stages.slice(0, 4), ramp('HT', [100]), question(more)],
        },
      })
    expect(refused({ turn: ['IF trimmer'] })).toContain('does not name it among its panel_controls')
    expect(refused({ turn: ['RF gain'], inside: true })).toContain('hands inside at once')
  })
  it('no question of the demo asks for a hand, probe, clip or tool inside above 60 V', () => {
    const hot = (step: Step): number => Math.max(0, ...Object.values(step.limits).map(({ at_V }) => at_V))
    for (const name of ['receive', 'transmit'] as const)
      for (const step of planned(demo(`tern-rock/${name}`)).steps) {
        if (step.ask === null || hot(step) <= 60) continue
        expect(step.ask.inside, step.stage).toBe(false)
        const words = step.ask.text.replace(
          /no hand, probe, clip or tool goes in|is clipped on|insulated tools only/g,
          '',
        )
        expect(words, step.stage).not.toMatch(/\b(?:probe|clip|pull|lift|solder|tools?)\b/i)
      }
  })
})

describe('the key at reduced power', () => {
  const quiet = smallPlan((plan) => ({
    ...plan,
    steps: plan.steps.map((step) => (step.index === 7 ? { ...step, lines_quiet_since: 6 } : step)),
  }))
  const withErrors = (n: number): Rig => {
    const rig = new Rig(quiet).start()
    rig.until('HT at 100 V', () => rig.state.step === 5 && rig.state.part === 'hold')
    for (let i = 0; i < n; i++)
      rig.feed({ kind: 'line trouble', port: 'ht', fault: 'no_reply', text: 'noise' })
    return rig
  }
  it('counts the errors of every line, and goes no higher where radio frequency is in them', () => {
    const noisy = withErrors(3)
    const ending = noisy.toTheEnd()
    expect(ending).toMatchObject({ outcome: 'failed', reason: { code: 'bad-reply', measured: 3, limit: 1 } })
    expect(ending.reason?.text).toContain('radio frequency gets into their leads')
  })
  it('one error may be chance, and the count is in the record', () => {
    const rig = withErrors(1).toFullHT()
    const told = rig.commands.flatMap((command) => (command.kind === 'record' ? [command.entry.text] : []))
    expect(told).toContain('Key down at reduced power, steps 6 to 6: 1 line errors.')
  })
  it('is asked for in the plan of a transmitter, before the first step above half of its volts', () => {
    const { steps } = planned(demo('tern-rock/transmit'))
    const marked = steps.filter(({ lines_quiet_since }) => lines_quiet_since !== undefined)
    expect(marked.map(({ mode, target_V }) => [mode, target_V])).toEqual([['key down', 250]])
    expect(steps.find(({ index }) => index === marked[0]?.lines_quiet_since)).toMatchObject({
      mode: 'key down',
      target_V: 60,
    })
  })
})

describe('a photograph with an answer', () => {
  const dir = mkdtempSync(join(tmpdir(), 'slowglow-photo-'))
  afterAll(() => {
    rmSync(dir, { recursive: true, force: true })
  })
  const file = join(dir, 'serious roof.png')
  writeFileSync(file, Buffer.from('89504e470d0a1a0a0000000d49484452', 'hex'))
  it('is typed behind it, and the answer stays what it was', () => {
    expect(withPhoto('14.2 V photo=a b.jpg')).toEqual({ answer: '14.2 V', photo: 'a b.jpg' })
    expect(withPhoto('14.2 V')).toEqual({ answer: '14.2 V', photo: null })
    const ask = { text: '', wants: { kind: 'confirm' }, timeout_s: 1, inside: false, about: '' } as const
    expect(answerOf(withPhoto('y photo=x').answer, ask, null)).toEqual({ value: 'yes' })
    // A path may hold the letters that stop a run at the beginning of a line, and be longer than an answer.
    const path = `y photo=${'rs/'.repeat(40)}x.png`
    const typed = typeKey({ buffer: '', live: true, asking: true }, { kind: 'text', text: path })
    expect(typed).toMatchObject({ typed: [], typing: { buffer: path } })
  })
  it('is named by its hash, and stands in the book of the set after the run', async () => {
    const photo = await readPhoto(file, 'with the answer to: does V1 glow?')
    if ('problem' in photo) throw new Error(photo.problem)
    expect(photo.sha256).toMatch(/^[0-9a-f]{64}$/)
    const set_path = join(dir, 'set.yaml')
    const of = { equipment: receive.equipment, set_path }
    expect(photosInBook([photo], of, 'run-1', 'me').join()).toContain('no book that could take them')
    expect(existsSync(join(dir, 'set.book'))).toBe(false)
    appendToBook(join(dir, 'set.book'), { at: '2026-11-29T08:00:00.000Z', by: 'me' }, [
      { body: { kind: 'description', text: 'a set' } },
    ])
    expect(photosInBook([photo], of, 'run-1', 'me').join()).toContain('the book of the set has them')
    expect(readBook(join(dir, 'set.book'))).toMatchObject({
      entries: [{}, { body: { kind: 'photograph', name: 'serious roof.png', sha256: photo.sha256 } }],
    })
  })
  it('that cannot be read leaves the question open', async () => {
    expect(await readPhoto(join(dir, 'none.png'), '')).toHaveProperty('problem')
    writeFileSync(join(dir, 'words.png'), 'no picture at all')
    expect(await readPhoto(join(dir, 'words.png'), '')).toEqual({
      problem: expect.stringContaining('is no JPEG, PNG or WebP picture') as string,
    })
  })
})
