import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterAll, describe, expect, it } from 'vitest'
import { continuable, continuableRun } from '../../src/cli/live/earlier.js'
import type { ReformJudgement } from '../../src/plan/index.js'
import { createRunFile, runFileName, runNameOf, type RunWriter } from '../../src/record/index.js'
import type { RunEntry } from '../../src/story/index.js'
import { formingBenchFile, formingPlanOf, shortForming } from '../helpers/forming-set.js'

/* What is offered of earlier nights: by their run files, as a power cut, a kill or a stop left them. */

const { plan } = formingPlanOf(shortForming, formingBenchFile)
const rung = plan.steps.filter(({ reform }) => reform?.what === 'rung')[5]
if (rung === undefined) throw new Error('no rung')
const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
/** Held: a writer that is swept up closes its file, and this is about files that nobody closed. */
const writers: RunWriter[] = []
afterAll(() => {
  for (const writer of writers) writer.close()
  rmSync(folder, { recursive: true })
})

const told = (part: string, more: Partial<ReformJudgement> = {}): RunEntry => {
  const figures = {
    ...{ volts: 15, leak_A: 1e-4, held_s: 60, F: 8e-6, F_error: 1e-7, limit_A: 6e-4, resolves_A: 1e-5 },
    ...{ slope: null, soonest_s: null, latest_s: null },
  }
  const judgement: ReformJudgement = {
    ...{
      part,
      step: rung.index,
      act: 'go on',
      reach_V: 20,
      verdict: null,
      code: null,
      text: 'go on',
      figures,
    },
    ...more,
  }
  return {
    entry: 'event',
    event: {
      ...{ t_us: 60e6, from: 'controller', what: 'judgement', text: '', rail: 'HT', step: rung.index },
      ...{ intent: null, data: { reform: judgement }, durable: true },
    },
  }
}

/** A run file without an ending, as a kill or a power cut leaves it: nothing closes it either. */
function left(days_ago: number, entries: readonly RunEntry[], command: 'run' | 'rehearse' = 'run'): string {
  const at = new Date(Date.now() - 86_400_000 * days_ago)
  const file = join(folder, runFileName(at, plan.equipment, days_ago / 100))
  const run = runNameOf(file)
  const more = { version: '0', plan, files: {}, identities: {}, seed: null, faults: [] }
  const writer = createRunFile(file, { fsync: false })
  writers.push(writer)
  writer.append([{ entry: 'known', known: { run, started: at.toISOString(), command, ...more } }, ...entries])
  writer.flush()
  return run
}

describe('a night that was cut off', () => {
  const old = left(40, [told('C3'), told('C5')])
  it('is not taken up after months: the oxide has gone back', () => {
    const found = continuable([folder], plan)
    expect(found?.run).toBe(old)
    expect(found?.earlier).toBeNull()
    expect(found?.why_not?.what).toMatch(/40 days old, and what was formed then has gone back/)
  })

  it('is offered from the last volts that were held to their end, and is not lost by a start that came to nothing', () => {
    const night = left(3, [told('C3'), told('C5'), told('C3', { act: 'wait', step: rung.index + 1 })])
    left(2, [])
    left(1, [told('C3')], 'rehearse')
    const found = continuable([folder], plan)
    expect(found?.run).toBe(night)
    expect(found?.earlier?.formed_V).toEqual({ C3: rung.target_V, C5: rung.target_V })
    expect(continuableRun(night, folder, folder, plan, false)).toMatchObject({ run: night })
  })

  it('is not taken up past a later one in which a part was given up, unless it is named', () => {
    left(0.5, [told('C3'), told('C5', { act: 'give up', verdict: 'replace', code: 'rising' })])
    expect(continuable([folder], plan)?.why_not?.what).toMatch(/C5 was given up/)
  })

  it('never goes on from what was only rehearsed', () => {
    const rehearsed = left(0.4, [told('C3'), told('C5')], 'rehearse')
    expect(continuableRun(rehearsed, folder, folder, plan, false)).toEqual({
      trouble: expect.stringMatching(/was no run: its parts were not formed by it/) as unknown,
    })
    expect(continuableRun(rehearsed, folder, folder, plan)).toMatchObject({ run: rehearsed })
  })
})
