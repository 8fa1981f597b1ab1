import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { unattendedCautions } from '../../src/cautions/index.js'
import { unfinished } from '../../src/cli/live/earlier.js'
import { reportPage } from '../../src/cli/report/page.js'
import type { Plan } from '../../src/plan/index.js'
import { createRunFile, formingTimeOf, openRunFile, storyOf } from '../../src/record/index.js'
import { type RunEntry, streamsOf } from '../../src/story/index.js'
import { unattendedObjections } from '../../src/session/index.js'
import {
  alone,
  fitForming,
  formed,
  formingBenchFile,
  formingPlanOf,
  shortForming,
} from '../helpers/forming-set.js'

const fit = fitForming()

/** The report of a run, by way of its file. */
function reportOf(plan: Plan, entries: readonly RunEntry[]): string {
  const at = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  const path = join(at, 'a.slowglow')
  const writer = createRunFile(path, { fsync: false })
  const more = { files: {}, identities: {}, seed: 1953, faults: [] }
  const known = {
    run: 'a',
    started: '2026-11-29T00:00:00Z',
    version: '0',
    command: 'rehearse',
    plan,
    ...more,
  } as const
  writer.append([
    { entry: 'known', known },
    ...streamsOf(plan).map((stream): RunEntry => ({ entry: 'stream', stream })),
    ...entries,
  ])
  writer.close()
  const opened = openRunFile(path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  const html = reportPage(opened.reader, storyOf(opened.reader))
  opened.reader.close()
  rmSync(at, { recursive: true })
  return html
}
const unattended = true

describe('a reform that nobody stays with', () => {
  const { plan, bench } = formingPlanOf(alone, fit, { unattended })

  it('proves its dead-man between hook-up checks and first volts, and asks nobody to take a part off', () => {
    expect(unattendedObjections(plan, bench, {})).toEqual([])
    expect(plan.unattended?.layers).toEqual([expect.objectContaining({ port: 'high', by: 'dead-man' })])
    const kinds = plan.steps.map(({ do: does, proof }) => proof?.of ?? does)
    expect(kinds.slice(0, 6)).toEqual(['hook-up check', 'hook-up check', 'raise', 'dead-man', 'ask', 'raise'])
    expect(plan.steps.some(({ aside }) => aside === true)).toBe(false)
    const text = unattendedCautions(plan, [])
    expect(text).toMatch(/given up ends the run for all of them/)
    expect(text).toMatch(/does not burn/)
    expect(text).not.toMatch(/\bsafe\b/i)
  })

  it.each([
    ['the profile does not say so', shortForming, fit, /does not say that it may be left alone/],
    ['its supply is not qualified', alone, formingBenchFile, /high.out is not qualified/],
  ])('is refused where %s', (_, profile, file, wanted) => {
    const made = formingPlanOf(profile, file, { unattended })
    expect(unattendedObjections(made.plan, made.bench, {}).join('\n')).toMatch(wanted)
  })

  it('is refused where a person would have to read a meter', () => {
    const meters = Object.fromEntries(
      Object.entries(fit.meters).map(([name, meter]) => [
        name,
        name === 'meter C3' ? { ...meter, line: null } : meter,
      ]),
    )
    const made = formingPlanOf(alone, { ...fit, meters }, { unattended })
    expect(unattendedObjections(made.plan, made.bench, {}).join('\n')).toMatch(
      /meter of C3 is read by a person alone: give it a line/,
    )
  })

  const night = formed(alone, fit, { unattended })

  it('goes to its end with nobody asked anything once the volts rise, and judges every part', () => {
    const { run, events, formed: parts } = night
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect([run.ending.outcome, run.ending.outputs_off]).toEqual(['completed', 'confirmed'])
    const fired = events.findIndex(({ text }) => text.includes('dead-man fired as it should'))
    const rises = events.findIndex(({ text }) => text.includes('rung 1'))
    expect(fired).toBeGreaterThan(0)
    expect(rises).toBeGreaterThan(fired)
    expect(events.slice(rises).some(({ what }) => what === 'prompt')).toBe(false)
    expect(parts.every(({ verdict }) => verdict === 'good' || verdict === 'marginal')).toBe(true)
  })

  it('tells the next how long it will take, and holds the time budget against that', () => {
    const time = formingTimeOf(night.plan, night.events)
    expect(time?.parts).toEqual(['C3', 'C5'])
    const experience = { climb_s: 7200, longer_s: 600, run: 'the last night', of: 2 }
    const common = formingPlanOf(shortForming, formingBenchFile)
    const known = formingPlanOf(shortForming, formingBenchFile, { experience })
    expect(common.plan.unproved.join('\n')).toMatch(/for these 2 parts: common practice, no source/)
    expect(known.plan.unproved.join('\n')).toMatch(
      /as the slowest of 2 earlier reforms of this set's parts took \(the last night: 2 h to the top\)/,
    )
    expect(known.plan.expected_s).toBeGreaterThan(7200 + 600)
    // What it took: from its first volts to the last, of the run's own time.
    expect(time?.climb_s).toBeGreaterThan(60)
    expect(time?.climb_s).toBeLessThan(night.run.virtual_s)
    const short = { ...shortForming, time_budget_s: 2 * 3600 }
    expect(() => formingPlanOf(short, formingBenchFile, { experience })).toThrow(
      /time budget of 2 h is shorter than the .* that it takes: as the slowest of 2 earlier reforms/,
    )
    expect(formingPlanOf(short, formingBenchFile).plan.time_budget_s).toBe(7200)
  })

  it('goes off at once where a part is given up, and offers the others to whoever comes', () => {
    const {
      plan: made,
      run,
      events,
      entries,
      formed: parts,
    } = formed(alone, fit, { unattended, faults: ['C5:short@HT>30V'] })
    expect(run.ending).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed' })
    expect(run.ending.reason).toMatchObject({ code: 'given-up', rail: 'HT' })
    const at = events.findIndex(({ what, text }) => what === 'judgement' && text.includes('given up'))
    const off = events.slice(at).findIndex(({ text }) => text.startsWith('urgent off'))
    expect(off).toBeGreaterThanOrEqual(0)
    expect(events.slice(at, at + off).some(({ what }) => what === 'prompt')).toBe(false)
    // What whoever comes in the morning prints.
    const html = reportOf(made, entries)
    expect(html).toMatch(/1 to replace, 1 not finished/)
    expect(html).toMatch(/<h3>C5: REPLACE<\/h3><p>given up at \d+ V, because/)
    expect(html).toMatch(
      /<h3>C3: NOT FINISHED<\/h3><p>Held to its end at \d+ V; --continue goes on from there/,
    )
    expect(html).toMatch(/given up: (not-following|heat|rising)<\/text>/)
    expect(html).toContain('C3, C5 held against')
    const left = unfinished({ run: 'the night', started: '' }, parts, made)
    expect(left?.parts.find(({ part }) => part === 'C3')).toMatchObject({ verdict: 'not finished' })
    expect(left?.parts.find(({ part }) => part === 'C3')?.held_V).toBeGreaterThan(20)
    expect(left?.why_not?.what).toMatch(/C5 was given up/)
  })
})

describe('a reform without a rest, of one part', () => {
  it('is let down before its re-test, and what the supply’s own capacitor takes as it rises is within its limit', () => {
    const { reform } = shortForming
    if (reform === null) throw new Error('no reform')
    const [C3] = Object.values(reform.parts)
    if (C3 === undefined) throw new Error('no part')
    const one = { ...shortForming, reform: { ...reform, rest_s: 0, parts: { C3 } } }
    const { plan, run, formed: parts } = formed(one, formingBenchFile)
    expect(run.ending.reason?.text ?? 'none').toBe('none')
    expect(parts[0]?.verdict).not.toBe('not finished')
    const { output_F = 0 } = formingBenchFile.supplies['high']?.channels['out'] ?? {}
    for (const { do: does, reform: of, slew_V_per_s, limits } of plan.steps) {
      const own = limits['HT']
      if (does !== 'raise' || of === undefined || own === undefined) continue
      expect(own.supply_limit_A).toBeGreaterThan(own.expected_A + slew_V_per_s * output_F)
    }
  })
})
