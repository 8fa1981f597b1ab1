import { describe, expect, it } from 'vitest'
import { unattendedCautions } from '../../src/cautions/index.js'
import { fromText } from '../../src/files/index.js'
import { unattendedObjections } from '../../src/session/index.js'
import { alone, formed, formingBenchFile, formingPlanOf, timerForming } from '../helpers/forming-set.js'

/* A timer outside of the supply that opens its interlock by itself: proved in each start that nobody stays with, or not counted. */

const bench = timerForming()
const unattended = true
const { plan } = formingPlanOf(alone, bench, { unattended })

describe('an outside timer in the bench file', () => {
  const read = (outside_timer: string, role = 'HT') =>
    fromText(
      `slowglow: bench 1
name: B
kind: real
supplies:
  high:
    line: { kind: tcp, host: h, port: 5025 }
    isolation: 600 V
    interface_isolated: yes
    channels:
      out: { feeds: HT, role: ${role}, max_volts: 60 V, max_amps: 300 mA, resolution_volts: 0.1 V, resolution_amps: 10 µA, accuracy_volts: { of_reading: 0.1 %, plus: 0.2 V }, accuracy_amps: { of_reading: 0.2 %, plus: 20 µA }, output_capacitance: 47 µF }
outside_timer: ${outside_timer}
`,
      'bench.yaml',
      'bench',
    )
  const told = (...of: Parameters<typeof read>): string =>
    read(...of)
      .problems.map(({ what, remedy }) => `${what}: ${remedy}`)
      .join('\n')

  it('names the supplies that it cuts, and the shortest time that it is proved with', () => {
    expect(read('{ shortest: 2 min, cuts: [high] }').value).toMatchObject({
      outside_timer: { shortest_s: 120, cuts: ['high'] },
    })
  })

  it.each([
    ['{ shortest: 2 min, cuts: [higher] }', 'HT', /no supply 'higher'/],
    ['{ shortest: 20 s, cuts: [high] }', 'HT', /shortest|20 s/],
    ['{ shortest: 2 h, cuts: [high] }', 'HT', /shortest|2 h/],
    ['{ shortest: 2 min, cuts: [] }', 'HT', /no supply is named/],
    [
      '{ shortest: 2 min, cuts: [high] }',
      'bias',
      /outside timer would take the bias of high .* must outlast HT/,
    ],
  ])('is refused as %s before %s', (text, role, wanted) => {
    expect(told(text, role)).toMatch(wanted)
  })
})

describe('a reform that is left to an outside timer', () => {
  it('is refused where nothing was ever seen to cut: its word alone does not count', () => {
    const made = formingPlanOf(alone, timerForming({ ...formingBenchFile }), { unattended })
    expect(unattendedObjections(made.plan, made.bench, {})).toEqual([])
    const { outside_timer: gone, ...none } = bench
    expect(gone).toBeDefined()
    const without = formingPlanOf(alone, none, { unattended })
    expect(unattendedObjections(without.plan, without.bench, {})).toEqual([
      expect.stringMatching(/nothing that can be proved in this start switches high off/) as unknown,
    ])
  })

  it('proves it at 5 V at most, between hook-up checks and first volts, and says both times what to set', () => {
    expect(plan.unattended?.layers).toEqual([expect.objectContaining({ port: 'high', by: 'outside timer' })])
    const kinds = plan.steps.map(({ do: does, proof }) => proof?.of ?? does)
    expect(kinds.slice(2, 10)).toEqual([
      ...['ask', 'raise', 'outside timer', 'ask', 'ask', 'raise', 'off', 'raise'],
    ])
    expect(Math.max(...plan.steps.slice(0, 9).map(({ target_V }) => target_V))).toBeLessThanOrEqual(5)
    const asked = plan.steps.flatMap(({ ask }) =>
      ask?.about.startsWith('fit timer') === true ? [ask.text] : [],
    )
    expect(asked[0]).toMatch(/set it to its shortest time, 60 s|set it to its shortest time, 1 min/)
    expect(asked[1]).toMatch(/cut 3 h from now at the latest, and not before .*: so long is planned/)
    const said = unattendedCautions(plan, [])
    expect(said).toMatch(
      /THE OUTSIDE TIMER of high stands on "on".* see it cut at no more than 5 V.*3 h from then/,
    )
    expect(said).not.toMatch(/\bsafe\b/i)
  })

  it('sees the volts go by the timer alone, keeps when and from what to what, sees them back, and goes to its end', () => {
    const { run, events } = formed(alone, bench, { unattended })
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect([run.ending.outcome, run.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    const at = events.findIndex(({ text }) =>
      /the outside timer cut [\d.]+ s after it was waited for/.test(text),
    )
    const cut = events[at]?.data as Record<string, number | string | boolean>
    expect(cut).toMatchObject({ proof: 'outside timer', result: 'fired', said: false })
    expect(cut['from_V']).toBeGreaterThan(4.5)
    expect(cut['left_V']).toBeLessThan(0.6)
    expect(cut['after_s']).toBeGreaterThan(20)
    expect(cut['after_s']).toBeLessThan(60)
    expect(cut['away_s']).toBeGreaterThanOrEqual(15)
    // Nothing was told to the supply between the raise and the cut.
    const begun = events.findIndex(({ text }) => text.includes('the outside timer has up to'))
    const asks = events.slice(begun, at).filter(({ what }) => what === 'request')
    expect(begun).toBeGreaterThan(0)
    expect(asks.map(({ text }) => text)).toEqual([])
    const after = events.slice(at).map(({ text }) => text)
    const back = after.findIndex((text) => text.includes('are the volts back'))
    const off = after.findIndex((text) => /HT: went off/.test(text))
    const rises = after.findIndex((text) => text.includes('rung 1'))
    expect(back).toBeGreaterThan(0)
    expect(off).toBeGreaterThan(back)
    expect(rises).toBeGreaterThan(off)
  })

  it.each([
    ['never cuts', 'timer.high:stuck', 'unproved', /outside timer did not fire/],
    ['closes again by itself', 'timer.high:closed', 'unproved', /came back by itself/],
    ['does not close again for the night', 'timer.high:open', null, /./],
  ])('that %s begins nothing', (_, fault, code, wanted) => {
    const { run, events } = formed(alone, bench, { unattended, faults: [fault] })
    expect(run.ending.outcome).not.toBe('completed')
    expect(run.ending.outputs_off).toBe('confirmed')
    if (code !== null) expect(run.ending.reason?.code).toBe(code)
    expect(run.ending.reason?.text).toMatch(wanted)
    expect(events.some(({ text }) => text.includes('rung 1'))).toBe(false)
  })

  it('goes on being watched while it is waited for: volts above what was set end the start at once', () => {
    const { run, events } = formed(alone, bench, { unattended, faults: ['high.out:reads-volts=30V@t>40s'] })
    // Its read-back lies, so that "off" is not confirmed by it either.
    expect(run.ending).toMatchObject({ outcome: 'tripped', outputs_off: 'not confirmed' })
    expect(run.ending.reason).toMatchObject({ code: 'over-ceiling', rail: 'HT' })
    expect(events.some(({ text }) => text.includes('the outside timer cut'))).toBe(false)
  })
})
