import { describe, expect, it } from 'vitest'
import type { Bench } from '../../src/bench/index.js'
import { unattendedCautions } from '../../src/cautions/index.js'
import { unattendedObjections } from '../../src/session/index.js'
import { loadAll } from '../../src/files/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import { type RunEntry } from '../../src/story/index.js'
import { readFault } from '../../src/virtual/index.js'
import { rehearse } from '../helpers/replayed.js'
import { dead_man, fitBench, figures, outputs, qualification } from '../helpers/unattended.js'
import { qualifiedBench } from '../../src/qualify/index.js'

const loaded = loadAll('tests/helpers/short/receive.yaml').value
if (loaded === null) throw new Error('the short profile is not sound')
const { equipment } = loaded
const profile = { ...loaded.profile, unattended: true }
const fit = fitBench(loaded.bench)

function planOf(bench: Bench, of = profile): Plan {
  const { plan, problems } = makePlan(of, equipment, bench, { unattended: true })
  if (plan === null) throw new Error(problems.map(({ what }) => what).join('\n'))
  return plan
}
const objections = (bench: Bench, of = profile): readonly string[] =>
  unattendedObjections(planOf(bench, of), bench, {})

describe('unattended work', () => {
  const plan = planOf(fit)

  it('is not refused on a qualified bench with a dead-man, which is proved between hook-up check and first rise', () => {
    expect(objections(fit)).toEqual([])
    expect(plan.unattended?.layers).toEqual([
      expect.objectContaining({ port: 'high', by: 'dead-man' }) as unknown,
    ])
    const kinds = plan.steps.map(({ do: does, proof }) => proof?.of ?? does)
    const proof = kinds.indexOf('dead-man')
    expect(kinds.slice(proof - 2, proof + 2)).toEqual(['hook-up check', 'raise', 'dead-man', 'ask'])
    expect(plan.steps.slice(0, proof + 1).every(({ target_V }) => target_V <= 5)).toBe(true)
    expect(plan.steps.map(({ index }) => index)).toEqual(plan.steps.map((_, i) => i + 1))
  })

  it('counts on nothing that is not proved in that start: a supply without a dead-man is refused, one with a timer that can be seen to cut is not', () => {
    const { high } = loaded.bench.supplies
    if (high === undefined) throw new Error('no supply')
    const bench = { ...fit, supplies: { ...fit.supplies, high } }
    const without = planOf(bench)
    expect(without.unattended?.layers).toEqual([])
    expect(without.steps.some(({ do: does }) => does === 'prove')).toBe(false)
    expect(objections(bench).join('\n')).toMatch(
      /nothing that can be proved in this start switches high off.*outside_timer.*one in the mains of the whole supply .* does not count/,
    )
    const timed = { ...bench, outside_timer: { cuts: ['high'], shortest_s: 60 } }
    expect(objections(timed)).toEqual([])
    const kinds = planOf(timed).steps.map(({ do: does, proof }) => proof?.of ?? does)
    const at = kinds.indexOf('outside timer')
    expect(kinds.slice(at - 2, at + 5)).toEqual([
      ...['ask', 'raise', 'outside timer', 'ask', 'ask', 'raise', 'off'],
    ])
    expect(unattendedCautions(plan, [])).not.toContain('TIMER')
  })

  const measured = (found: Parameters<typeof qualification>[2], today = '2026-09-01'): Bench =>
    qualifiedBench({ ...fit, supplies: fit.supplies }, qualification(outputs, '2026-06-01', found), today)
  const { high } = fit.supplies
  const out = high?.channels['out']
  if (high === undefined || out === undefined) throw new Error('no supply')
  const single = { kind: 'tcp', host: 'h', port: 5025, spare_allowed: false } as const

  it.each<[string, readonly string[], RegExp]>([
    [
      'the profile does not say so',
      objections(fit, { ...profile, unattended: false }),
      /does not say that it may be left alone: .*unattended: true/,
    ],
    [
      'an output is not qualified',
      objections(fitBench(loaded.bench, ['low.bias'])),
      /low.bias is not qualified: .*qualify/,
    ],
    ['a qualification is old', objections(measured({}, '2028-01-01')), /more than 12 months old/],
    [
      'a qualification is of another supply',
      objections(
        qualifiedBench(
          { ...fit, supplies: { ...fit.supplies, high: { ...high, identity: 'X' } } },
          qualification(outputs, '2026-06-01', { 'high.out': { identity: 'Y' } }),
          '2026-09-01',
        ),
      ),
      /qualification of high.out is of another supply/,
    ],
    [
      'its current limit contradicts',
      objections(
        measured({
          'high.out': {
            figures: {
              ...figures,
              proofs: [{ of: 'current limit', verdict: 'contradicts', said: null, after_s: null, text: '' }],
            },
          },
        }),
      ),
      /current limit of high.out is not known to work \(its proof: contradicts\)/,
    ],
    [
      'its current limit was never proved',
      objections(measured({ 'high.out': { figures: { ...figures, proofs: [] } } })),
      /its proof: not proved/,
    ],
    [
      'no connection can be held in reserve',
      objections({ ...fit, supplies: { ...fit.supplies, high: { ...high, line: single } } }),
      /takes one connection only.*spare_allowed: true/,
    ],
    [
      'bias stands beside HT behind a dead-man that is only said to take one output alone',
      objections({
        ...fit,
        supplies: {
          ...fit.supplies,
          high: {
            ...high,
            dialect: { ...high.dialect, dead_man: { ...dead_man, per: 'output' } },
            channels: { ...high.channels, grid: { ...out, number: 2, feeds: 'grid', role: 'bias' } },
          },
        },
      }),
      /high feeds bias beside what is hot, and nothing has shown that its dead-man takes one output alone.*qualify --channel high\.out/,
    ],
    [
      'an alert has no secret',
      objections({
        ...fit,
        alerts: [
          {
            kind: 'webhook',
            url: 'https://a.example',
            url_from: null,
            headers_from: { Authorization: 'NO_SUCH' },
            still_there_s: null,
            least: 'news',
            within_s: 5,
          },
        ],
      }),
      /NO_SUCH is not set/,
    ],
  ])('is refused where %s, and says what to do', (_, said, wanted) => {
    expect(said.join('\n')).toMatch(wanted)
    expect(said).toHaveLength(new Set(said).size)
  })

  it('is refused where a rail is on a person’s own knob', () => {
    const { high: gone, ...supplies } = fit.supplies
    expect(gone).toBeDefined()
    expect(objections({ ...fit, supplies, meters: {} }).join('\n')).toMatch(
      /HT is switched by a person alone/,
    )
  })

  it('says what it needs in words of its own, and never that anything may be touched', () => {
    const text = unattendedCautions(plan, [])
    expect(text).toContain('NOBODY IS TOLD')
    const told = unattendedCautions(plan, ['broker a', 'webhook b'])
    expect(told).toMatch(/Told of it: broker a, webhook b\. Each must take an alert on trial/)
    expect(told).not.toContain('NOBODY')
    for (const word of ['Fire watch', 'smoke alarm', 'reach live parts', 'cuts the mains'])
      expect(text).toContain(word)
    expect(text).not.toMatch(/\bsafe\b/i)
  })
})

function rehearsed(...written: readonly string[]) {
  const plan = planOf(fit)
  const entries: RunEntry[] = []
  const faults = written.map((fault) => {
    const read = readFault(fault, equipment, fit)
    if (!read.ok) throw new Error(read.problem)
    return read.value
  })
  const run = rehearse(plan, equipment, fit, {
    seed: 1953,
    faults,
    record: (entry) => {
      entries.push(entry)
    },
  })
  return { plan, run, entries }
}

describe('the dead-man in a run that may be left alone', () => {
  it('fires at a few volts, is armed again, and the run goes on to its end', () => {
    const { run, entries } = rehearsed()
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect([run.ending.outcome, run.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    const texts = entries.flatMap((entry) => (entry.entry === 'event' ? [entry.event.text] : []))
    const fired = texts.findIndex((text) => text.includes('dead-man fired as it should'))
    expect(fired).toBeGreaterThan(0)
    expect(texts.findIndex((text) => /^Raise HT .* to 60/.test(text))).toBeGreaterThan(fired)
  })

  it('that does not fire ends the run before anything goes higher, with what to do', () => {
    const { run, entries } = rehearsed('high.out:no-protection')
    expect(run.ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(run.ending.reason).toMatchObject({ code: 'unproved', rail: 'HT' })
    expect(run.ending.reason?.text).toMatch(/dead-man did not fire.*take the supply as having none/)
    const raised = entries.some((entry) => entry.entry === 'event' && /^Raise heaters/.test(entry.event.text))
    expect(raised).toBe(false)
  })

  it('is not proved by volts that go for another reason while it is left unfed, where its supply can say whether it fired', () => {
    const told = rehearsed().entries.find(
      (entry) => entry.entry === 'event' && entry.event.text.includes('its dead-man is not fed for'),
    )
    const at_s = told?.entry === 'event' ? told.event.t_us / 1e6 + 1 : 0
    const { run, entries } = rehearsed('high.out:no-protection', `high.out:drop-out@t>${at_s.toFixed(1)}s`)
    expect(run.ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(run.ending.reason?.rail).toBe('HT')
    expect(run.ending.reason?.text).toMatch(/the supply does not say that it fired.*a dip of the mains/)
    const raised = entries.some((entry) => entry.entry === 'event' && /^Raise heaters/.test(entry.event.text))
    expect(raised).toBe(false)
  })
})
