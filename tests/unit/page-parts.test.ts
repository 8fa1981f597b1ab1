import { describe, expect, it } from 'vitest'
import { keptWith, limitsIn, type Seen, seenAt, traceOf } from '../../src/console/prepare/kept.js'
import { momentsOf } from '../../src/console/review/moments.js'
import { onOwnKnobs, rehearsedOff, stopWords } from '../../src/console/words/outputs.js'
import { isWholeScreen } from '../../src/console/words/hands-work.js'
import { extentOf, letter, wordsAt } from '../../src/console/prepare/drawing-shape.js'
import { wordsOf, worthDrawing } from '../../src/console/review/suspects-said.js'
import { hanging } from '../../src/console/prepare/hanging.js'
import { firstOffered } from '../../src/console/words/offered.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan } from '../../src/plan/index.js'
import { offOf } from '../../src/service/ended.js'
import { liveViewOf } from '../../src/service/live-view.js'
import type { Prompt } from '../../src/service/api/index.js'
import type { View } from '../../src/sequencer/index.js'
import type { RunEnding } from '../../src/story/index.js'

function made(path: string) {
  const { value } = loadAll(path)
  if (value === null) throw new Error(`${path} does not load`)
  return value
}
const receive = made('profiles/tern-rock/receive.yaml')

describe('what is drawn of suspects', () => {
  const start = receive.equipment.rails['HT']?.positive ?? ''
  const drawn = (about?: ReadonlySet<string>) => hanging(receive.equipment, 'HT', start, about)

  it('is them, what hangs beside the next reading, and far less than the whole', () => {
    const whole = drawn().things
    const [deepest = ''] = [...drawn().depth.entries()].toSorted((a, b) => b[1] - a[1])[0] ?? []
    const { things } = drawn(new Set(['part C1b', `node ${deepest}`]))
    const names = things.map(({ id }) => id)
    expect(names).toContain('C1b')
    for (const { id, ends } of whole) if (ends.includes(deepest)) expect(names).toContain(id)
    expect(things.length).toBeLessThan(whole.length / 2)
  })

  it('and leads each of them back to the rail', () => {
    for (const { id } of drawn().things) {
      const { things, depth } = drawn(new Set([`part ${id}`]))
      const reached = new Set([start])
      for (let n = 0; n < things.length; n++)
        for (const { ends } of things)
          if (ends.some((end) => reached.has(end)))
            for (const end of ends) if (depth.has(end)) reached.add(end)
      const own = things.find((thing) => thing.id === id)?.ends.filter((end) => depth.has(end)) ?? []
      expect(own.every((end) => reached.has(end))).toBe(true)
    }
  })
})

describe('suspects on the drawing', () => {
  const { equipment } = receive
  const cause = (...of: string[]) => ({
    ...{
      fault: of.join(' + '),
      part: of[0] ?? '',
      text: '',
      probability: 0.3,
      tied_with: [],
      rivals: [],
      of,
    },
    ...{ parts: of, explains: '', misses: null, predicted: [] },
  })
  const next = {
    ...{
      measure: 'volts' as const,
      place: 'v8 screen to v8 plate',
      where: '',
      how: '',
      why: '',
      meter: { name: 'the DMM', ohm: 1e7 },
    },
    ...{ leads: ['v8 screen', 'v8 plate'] as const, step: 9, predicts: [], leaves: 1, of: 2 },
  }
  const said = wordsOf({ equipment, hypotheses: [cause('C1b'), cause('C1b', 'R2')], next })

  it('are both parts of a pair, each once, and both leads of the next reading', () => {
    expect([...said]).toEqual([
      ['part C1b', 'C1b: suspect 1, suspect 2 together with R2'],
      ['part R2', 'R2: suspect 2 together with C1b'],
      ['node v8 screen', 'v8 screen: next reading, red lead'],
      ['node v8 plate', 'v8 plate: next reading, black lead'],
    ])
  })
  it('are those tied with the likeliest too, but not the other half of a pair that holds it and says nothing more', () => {
    const tied = {
      ...cause('C1b'),
      ...{ parts: ['C1b', 'R2', 'R3', 'C4'], rivals: ['R2:open', 'R3:drift=2 + C9:leaky'] },
    }
    expect([...wordsOf({ equipment, hypotheses: [tied], next: null })]).toEqual([
      ['part C1b', 'C1b: suspect 1'],
      ['part R2', 'R2: tied with suspect 1'],
      ['part R3', 'R3: tied with suspect 1'],
    ])
  })
  it('are drawn also where no cause is told and a reading is asked for all the same', () => {
    expect(worthDrawing({ hypotheses: [], next })).toBe(true)
    expect(worthDrawing({ hypotheses: [cause('C1b')], next: null })).toBe(true)
    expect(worthDrawing({ hypotheses: [], next: null })).toBe(false)
  })
  it('have room for all their words, which are wider than the boxes at the edges', () => {
    const box = (id: string, x: number) => ({
      ...{ id, x, y: 40, width: 60, height: 26, kind: 'part' as const, lines: ['C1b'], grounded: false },
    })
    const drawing = { width: 200, height: 60, wires: [], boxes: [box('part C1b', 40), box('part R2', 160)] }
    expect(extentOf(drawing, new Map())).toEqual({ left: 0, top: 0, width: 200, height: 60 })
    const { left, width, height } = extentOf(drawing, said)
    for (const { id, x } of drawing.boxes) {
      const half = (7 * (said.get(id)?.length ?? 0)) / 2
      expect(x - half).toBeGreaterThanOrEqual(left)
      expect(x + half).toBeLessThanOrEqual(left + width)
    }
    expect(height).toBeGreaterThan(60)
  })
})

describe('words at marks that stand close', () => {
  it('cover neither one another nor a box', () => {
    const part = (id: string, x: number, y: number) => ({
      ...{ id, x, y, width: 96, height: 40, kind: 'part' as const, lines: ['C5', '10 nF, 400 V'] },
      grounded: false,
    })
    const node = (id: string, x: number, y: number) => ({
      ...{ id, x, y, width: 8, height: 8, kind: 'node' as const, lines: [id], grounded: false },
    })
    const boxes = [
      part('C5', 430, 140),
      node('V4 grid', 506, 140),
      node('V4 cathode', 506, 175),
      node('V3 plate', 357, 85),
    ]
    const marks = new Map([
      ['C5', 'C5: suspect 1'],
      ['V4 grid', 'V4 grid: next reading, black lead'],
      ['V3 plate', 'V3 plate: next reading, red lead'],
    ])
    const at = wordsAt({ width: 700, height: 260, wires: [], boxes }, marks)
    const areas = [...at].map(([id, { x, y, anchor }]) => {
      const wide = (marks.get(id)?.length ?? 0) * letter.mark
      const left = anchor === 'middle' ? x - wide / 2 : anchor === 'start' ? x : x - wide
      return { id, left, right: left + wide, top: y - 12, bottom: y + 4 }
    })
    expect(areas).toHaveLength(3)
    const others = boxes.map(({ id, x, y, width, height }) => ({
      ...{ id, left: x - width / 2, right: x + width / 2, top: y - height / 2, bottom: y + height / 2 },
    }))
    for (const one of areas)
      for (const other of [...areas.filter((each) => each !== one), ...others])
        expect(
          one.left < other.right &&
            other.left < one.right &&
            one.top < other.bottom &&
            other.top < one.bottom,
          `${one.id} over ${other.id}`,
        ).toBe(false)
  })
})

describe('what is offered first', () => {
  const profile = (path: string, equipment: string, is: string) => ({ path, equipment, is })
  it('is the receiver of the set that most can be done with', () => {
    const two = [
      profile('a/receive.yaml', 'a/set.yaml', 'receive'),
      profile('b/reform.yaml', 'b/set.yaml', 'reform'),
      profile('b/receive.yaml', 'b/set.yaml', 'receive'),
    ]
    expect(firstOffered(two)?.path).toBe('b/receive.yaml')
    expect(firstOffered([])).toBeUndefined()
  })
})

describe('a question', () => {
  const prompt = (about: string, inside: boolean): Prompt =>
    ({ about, inside, needs: 'answer' }) as unknown as Prompt
  it('has the screen to itself where hands are at the set, and not where figures are watched', () => {
    for (const about of ['hook-up HT', 'wire', 'fit rectifier', 'lift C1'])
      expect(isWholeScreen(prompt(about, false))).toBe(true)
    expect(isWholeScreen(prompt('own mains', true))).toBe(true)
    for (const about of ['tune', 'reading', 'own mains'])
      expect(isWholeScreen(prompt(about, false))).toBe(false)
  })
})

describe('the age of a figure', () => {
  it('is a quarter of an hour for what was typed, and the bench’s for what is measured', () => {
    const { plan } = makePlan(receive.profile, receive.equipment, receive.bench)
    if (plan === null) throw new Error('no plan')
    const rail = (by: 'hand' | 'programmed') => ({
      ...{ rail: 'HT', class: by, set_V: 0, volts: 1, amps: 0, age_s: 60, output: 'on', limits: null },
    })
    const view = { rails: [rail('hand'), rail('programmed')], inputs: [] } as unknown as View
    const [byHand, driven] = liveViewOf(view, plan, 1, 0).rails
    expect(byHand?.stale_ms).toBe(900_000)
    expect(driven?.stale_ms).toBeLessThan(10_000)
  })
})

describe('what is said of outputs', () => {
  const stop = { how: 'off now', by: 'somebody' } as const
  const at = { own: false, connected: true, open: [] }
  it('is no alarm where every rail stands on a person’s own knob, and no promise either', () => {
    const own = { own: true, connected: true, open: [] }
    const over = stopWords({ ...stop, done: 'nothing to confirm' }, own)
    expect(over).toContain('No output here is slowglow’s to confirm.')
    expect(over).toContain('Measure before touching.')
    expect(over).not.toMatch(/NOT CONFIRMED|done|measured off|Cut the mains/)
    const asked = stopWords({ ...stop, done: 'asked' }, own)
    expect(asked).toContain('turn your own knob down and switch its mains off now')
    expect(asked).not.toContain('being measured')
    expect(onOwnKnobs({ rails: [{ class: 'hand' }] } as never)).toBe(true)
    expect(onOwnKnobs({ rails: [{ class: 'hand' }, { class: 'watched' }] } as never)).toBe(false)
  })
  it('is what was measured where there was something to measure', () => {
    expect(stopWords({ ...stop, done: 'confirmed' }, at)).toContain('done. Outputs measured off.')
    const open = ['HT (your own knob): NOT confirmed off by you.']
    const knob = stopWords({ ...stop, done: 'confirmed' }, { ...at, open })
    expect(knob).toContain('what slowglow switches is measured off. HT (your own knob): NOT confirmed off')
    expect(knob).not.toMatch(/done|Outputs measured off/)
    expect(stopWords({ ...stop, done: 'not confirmed' }, at)).toContain('OUTPUTS NOT CONFIRMED OFF')
    expect(stopWords({ ...stop, done: 'asked' }, { ...at, connected: false })).toContain(
      'Take the outputs as on',
    )
  })
  it('is the same of the service and of a rehearsal', () => {
    const ending = (outputs_off: 'confirmed' | 'not confirmed', nothing_to_confirm: boolean) =>
      ({ outputs_off, hand_rails: {}, details: { nothing_to_confirm } }) as unknown as RunEnding
    const all = [ending('confirmed', false), ending('not confirmed', false), ending('not confirmed', true)]
    expect(all.map((each) => offOf(each))).toEqual(['confirmed', 'not confirmed', 'nothing to confirm'])
    const [on, off, own] = all.map((each) => rehearsedOff(each))
    expect(on).toContain('confirmed off')
    expect(off).toContain('NOT confirmed off')
    expect(own).toBe('No output here is slowglow’s to confirm.')
  })
})

describe('a long rehearsal in the page', () => {
  const at = (t_s: number, step: number, reason: object | null = null, more: object = {}): Seen =>
    ({
      t_s,
      view: {
        step,
        phase: 'running',
        reason,
        rails: [{ rail: 'HT', amps: t_s / 1e6, limits: null, ...more }],
      },
    }) as unknown as Seen
  it('is kept in bounds over its whole length, with every step’s begin, what put it off, and the last moment', () => {
    let seen: readonly Seen[] = []
    const day_s = 86_400
    for (let t_s = 0; t_s < day_s; t_s += 97) {
      const some = Array.from({ length: Math.min(97, day_s - t_s) }, (_, i) => t_s + i)
      seen = keptWith(
        seen,
        some.map((t) => at(t, 1 + Math.floor(t / 8101), t >= 80_003 ? {} : null)),
        500,
      )
    }
    expect(seen.length).toBeLessThanOrEqual(500)
    expect(seen.at(-1)?.t_s).toBe(day_s - 1)
    expect(seen.find(({ view }) => view.reason !== null)?.t_s).toBe(80_003)
    for (let step = 2; step < 10; step++)
      expect(seen.find(({ view }) => view.step === step)?.t_s).toBe((step - 1) * 8101)
    const gaps = seen.slice(1).map(({ t_s }, i) => t_s - (seen[i]?.t_s ?? 0))
    expect(Math.max(...gaps)).toBeLessThanOrEqual(512)
    expect(seenAt(seen, 40_000)?.rails[0]?.amps).toBeCloseTo(0.04, 3)
    expect(traceOf(seen, 'HT').t_s.at(-1)).toBe(day_s - 1)
  })
  it('shows the limits that were in force: wider while it charges, none while heaters are cold', () => {
    const limits = { lower_A: 1, upper_A: 2, trip_A: 3, ceiling_A: 4 }
    const points = limitsIn(
      [
        at(0, 1, null, { limits, soft_start: true }),
        at(1, 1, null, { limits, charging_A: 0.5 }),
        at(2, 1, null, { limits }),
      ],
      'HT',
    )
    expect(points.map(({ t_s, limits: each }) => [t_s, each?.trip_A, each?.ceiling_A])).toEqual([
      [0, undefined, undefined],
      [1, undefined, undefined],
      [1, 3.5, 4.5],
      [2, 3.5, 4.5],
      [2, 3, 4],
    ])
  })
})

describe('what is marked on a chart of a run', () => {
  const event = (t_s: number, what: string) => ({ t_s, what })
  it('is what weighs most, where there is no room for all: a trip after many warnings keeps its mark', () => {
    const events = [
      ...Array.from({ length: 30 }, (_, i) => event(i, i % 2 === 0 ? 'warning' : 'prompt')),
      event(40, 'trip'),
      event(41, 'off'),
      event(42, 'ending'),
    ]
    const marks = momentsOf({ events } as never, 0, 100)
    expect(marks.length).toBe(12)
    expect(marks.slice(-3).map(({ words }) => words)).toEqual(['trip', 'off', 'ending'])
    expect(marks.at(-3)?.bad).toBe(true)
    expect(marks.map(({ t_s }) => t_s)).toEqual(marks.map(({ t_s }) => t_s).toSorted((a, b) => a - b))
  })
})
