import { cpSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { basename, join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { planFiles } from '../../src/cli/plan-files.js'
import { planPage } from '../../src/cli/plan-text.js'
import {
  loadAll,
  loadBench,
  qualificationFile,
  qualificationPath,
  readQualification,
} from '../../src/files/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import {
  type ChannelFigures,
  type Figure,
  type Provable,
  type Qualification,
  qualifiedBench,
  type Verdict,
  withChannel,
  withVerdicts,
} from '../../src/qualify/index.js'
import { demo } from '../helpers/small-set.js'
import { fitBench } from '../helpers/unattended.js'

const figure = (value: number, unit: Figure['unit'], uncertainty = 0): Figure => ({
  value,
  unit,
  uncertainty,
  how: 'by hand, for this test',
})
const figures: ChannelFigures = {
  levels: [
    {
      set_V: 300,
      read_V: 300,
      noise_V: 0.05,
      read_A: 0.07,
      noise_A: 5e-6,
      samples: 200,
      meter_V: 300.1,
      load_A: 0.07,
    },
  ],
  accuracy_V: figure(2, 'V', 0.3),
  accuracy_A: figure(100e-6, 'A', 700e-6),
  noise_V: figure(0.05, 'V'),
  noise_A: figure(5e-6, 'A'),
  resolution_V: figure(0.1, 'V'),
  resolution_A: figure(10e-6, 'A'),
  settling_s: figure(0.4, 's'),
  overshoot_V: figure(4, 'V', 0.5),
  slew_V_per_s: { ...figure(700, 'V/s'), bound: 'at least' },
  poll_s: figure(0.4, 's', 0.1),
  poll_longest_s: figure(0.6, 's'),
  jitter_s: figure(0.1, 's'),
  off_s: figure(0.06, 's', 0.02),
  down_s: figure(0.8, 's'),
  output_F: figure(90e-6, 'F', 5e-6),
  sinks: { value: false, how: 'by hand' },
  proofs: [{ of: 'over-voltage', verdict: 'did not fire', said: null, after_s: null, text: 'did not' }],
}
const order = {
  channel: 'high.out',
  load: { ohm: 4700, tolerance: 0.01, rated_W: 50 },
  top_V: 300,
  meter: null,
  skip: [],
}
const document = (identity = 'A, B, 1, 2', found: ChannelFigures = figures): Qualification =>
  withChannel(null, 'a bench', order, {
    date: '2026-06-01',
    slowglow: '0.1.0',
    run: 'x',
    identity,
    figures: found,
  })
const parts = demo('tern-rock/receive')
const stated = parts.bench.supplies.high?.channels.out
const channelIn = (found: Qualification | null, today: string) =>
  qualifiedBench(parts.bench, found, today).supplies.high?.channels.out
const planWith = (found: Qualification | null, today: string): Plan => {
  const { plan } = makePlan(parts.profile, parts.equipment, qualifiedBench(parts.bench, found, today))
  if (plan === null) throw new Error('no plan')
  return plan
}
const said = (plan: Plan): string => plan.supplies?.find(({ channel }) => channel === 'high.out')?.text ?? ''

describe('a bench with a fresh qualification', () => {
  const now = channelIn(document(), '2026-09-01')

  it('has an error beyond the stated one where it was measured, and what the measurement cannot tell left out of it', () => {
    // Stated 0.1 % + 200 mV, so 500 mV at 300 V; measured 2 V off, give or take 0.3 V: 1.2 V beyond.
    expect(now?.accuracy_V.plus).toBeCloseTo(0.2 + 1.2, 9)
    expect(now?.accuracy_A).toEqual(stated?.accuracy_A)
  })
  it('has the capacitor that was measured, with its uncertainty, and room above its overshoot', () => {
    expect(now?.output_F).toBeCloseTo(95e-6, 12)
    expect(now?.over_voltage_margin_V).toBeCloseTo(1.5 * 4.5, 9)
  })
  it('takes the supply that was measured for the one that must answer, where the bench file names none', () => {
    const bench = qualifiedBench(parts.bench, document(), '2026-09-01')
    expect(bench.supplies.high?.identity).toBe('A, B, 1, 2')
  })
  it('does not lend to one supply what was measured on another, where its channels were measured on two', () => {
    const supply = parts.bench.supplies.high
    const out = supply?.channels.out
    if (supply === undefined || out === undefined) throw new Error('no supply')
    const both = { ...parts.bench, supplies: { high: { ...supply, channels: { out, second: out } } } }
    const made = { date: '2026-08-01', slowglow: '0.1.0', run: 'y', identity: 'A, B, 9, 9', figures }
    const later = withChannel(document(), 'a bench', { ...order, channel: 'high.second' }, made)
    const bench = qualifiedBench(both, later, '2026-09-01')
    expect(bench.supplies.high?.identity).toBe('A, B, 9, 9')
    expect(bench.supplies.high?.channels.out).toEqual(out)
    expect(bench.measured?.['high.out']?.state).toBe('foreign')
  })
  it('makes the plan say when it was measured, what a trip lets through, and which proof failed', () => {
    const plan = planWith(document(), '2026-09-01')
    expect(said(plan)).toContain('measured on 2026-06-01')
    expect(said(plan)).toContain('80 ms from OFF to no drive')
    expect(said(plan)).toContain('over-voltage proof: did not fire')
    const through = plan.let_through?.find(({ rail }) => rail === 'HT')
    expect(through?.off_measured).toBe(true)
    expect(through?.for_s).toBeCloseTo(3 * 0.6 + 0.08, 9)
    expect(planPage(plan)).toContain('SUPPLIES')
  })
  it('lets the stale rule follow the slowest measured poll once every channel of a supply is measured', () => {
    expect(planWith(document(), '2026-09-01').stale_s).toBeCloseTo(1.8, 9)
  })
})

describe('a bench whose supply failed on the dummy load', () => {
  const failed = { code: 'wont-fall', text: 'It does not go off. It may not feed a set.' }
  const made = { date: '2026-08-01', slowglow: '0.1.0', run: 'y', identity: 'A, B, 1, 2', figures }
  const after = withChannel(document(), 'a bench', order, { ...made, failed })
  const refusedBy = (found: Qualification, today: string): string =>
    makePlan(parts.profile, parts.equipment, qualifiedBench(parts.bench, found, today))
      .problems.filter(({ severity }) => severity === 'error')
      .map(({ what, remedy }) => `${what} ${remedy}`)
      .join()

  it('makes no plan, whatever was good before and however long ago that is', () => {
    expect(qualifiedBench(parts.bench, after, '2026-09-01').measured?.['high.out']?.state).toBe('failed')
    for (const today of ['2026-09-01', '2029-09-01'])
      expect(refusedBy(after, today)).toMatch(
        /high.out may not feed a set: it failed when it was measured on 2026-08-01\. It does not go off.*qualify --channel high.out/,
      )
    expect(channelIn(after, '2026-09-01')).toEqual(stated)
    expect(planWith(withChannel(after, 'a bench', order, made), '2026-09-01').supplies).toBeDefined()
  })

  it('says nothing of another supply than the one that failed', () => {
    const supply = parts.bench.supplies.high
    if (supply === undefined) throw new Error('no supply')
    const named = { ...supply, identity: 'C, D, 3, 4' }
    const bench = { ...parts.bench, supplies: { ...parts.bench.supplies, high: named } }
    expect(qualifiedBench(bench, after, '2026-09-01').measured?.['high.out']?.state).toBe('foreign')
  })

  it.each([
    ['the proof it failed in', { ...failed, proof: 'over-voltage' as const }, ['over-voltage'], true],
    ['another one', { ...failed, proof: 'over-voltage' as const }, ['dead-man'], false],
    ['any, where it is not known in which it failed', failed, ['dead-man'], true],
    ['none', failed, [], false],
  ] as const)(
    'stays failed by a qualification that leaves out %s: so it is, or is not',
    (_, what, skip, stays) => {
      const before = withChannel(document(), 'a bench', order, { ...made, failed: what })
      const again = withChannel(before, 'a bench', { ...order, skip: [...skip] }, made)
      expect(refusedBy(again, '2026-09-01').includes('may not feed a set')).toBe(stays)
    },
  )

  it('is not made good by leaving out what it failed by', () => {
    const proved = (verdict: Verdict): ChannelFigures => ({
      ...figures,
      proofs: [{ of: 'current limit', verdict, said: null, after_s: null, text: '' }],
    })
    const before = document('A, B, 1, 2', proved('does not hold'))
    const skipped = withChannel(
      before,
      'a bench',
      { ...order, skip: ['current limit'] },
      { ...made, figures: proved('not proved') },
    )
    expect(refusedBy(skipped, '2026-09-01')).toContain('Its current limit does not hold.')
  })
})

describe('proofs in a plan', () => {
  const of = (verdicts: Partial<Record<Provable, Verdict>>, date?: string): ChannelFigures => ({
    ...figures,
    proofs: Object.entries(verdicts).map(([what, verdict]) => ({
      of: what as Provable,
      verdict,
      said: null,
      after_s: null,
      text: '',
      ...(date !== undefined && { date }),
    })),
  })
  const fit = fitBench(parts.bench)
  const planOf = (found: ChannelFigures): Plan => {
    const { plan } = makePlan(
      parts.profile,
      parts.equipment,
      qualifiedBench(fit, document('A, B, 1, 2', found), '2026-09-01'),
    )
    if (plan === null) throw new Error('no plan')
    return plan
  }

  it('are told whatever became of them, those left out and those that the supply would not take part in as well', () => {
    const text = said(planOf(of({ 'current limit': 'as it should', 'over-voltage': 'refused' })))
    expect(text).toContain('Proved: current limit.')
    expect(text).toContain('Not seen to act, since it takes no level below what stands: over-voltage.')
    expect(text).toContain('Not proved: dead-man.')
  })

  it('that came out against the supply stand under what it cannot do, and never beside it under what it can', () => {
    const wrong = planOf(of({ 'dead-man': 'did not fire', 'over-voltage': 'did not fire' })).rails.HT
    expect(wrong?.can.join()).not.toContain('dead-man')
    expect(wrong?.cannot.join()).toContain('its dead-man was tried (did not fire), so take it as having none')
    expect(wrong?.cannot.join()).toContain('its over-voltage protection was tried (did not fire)')
    const right = planOf(of({ 'dead-man': 'fired' })).rails.HT
    expect(right?.can.join()).toContain('dead-man')
  })

  it('are kept with their day where a repeat leaves them out, and count for a year from it unless they went against the supply', () => {
    const repeat = { ...order, skip: ['dead-man', 'current limit'] as const }
    const later = withChannel(
      document('A, B, 1, 2', of({ 'dead-man': 'did not fire', 'current limit': 'as it should' })),
      'a bench',
      repeat,
      {
        date: '2027-05-01',
        slowglow: '0.1.0',
        run: 'y',
        identity: 'A, B, 1, 2',
        figures: of({ 'dead-man': 'not proved', 'current limit': 'not proved' }),
      },
    )
    const verdicts = (today: string): Record<string, string> =>
      Object.fromEntries(
        (qualifiedBench(parts.bench, later, today).measured?.['high.out']?.proofs ?? []).map((proof) => [
          proof.of,
          proof.verdict,
        ]),
      )
    expect(verdicts('2027-05-02')).toEqual({ 'dead-man': 'did not fire', 'current limit': 'as it should' })
    expect(verdicts('2027-07-01')).toEqual({ 'dead-man': 'did not fire', 'current limit': 'not proved' })
  })

  it('that a run made before it was ended take the place of the older ones, and of nothing else', () => {
    const found = {
      date: '2026-08-01',
      identity: 'A, B, 1, 2',
      figures: of({ 'over-voltage': 'contradicts', 'dead-man': 'not proved' }),
    }
    const before = document('A, B, 1, 2', of({ 'over-voltage': 'fired', 'dead-man': 'fired' }))
    const now = withVerdicts(before, 'high.out', found)?.channels['high.out']
    expect(now?.figures.proofs.map((proof) => [proof.of, proof.verdict, proof.date])).toEqual([
      ['dead-man', 'fired', undefined],
      ['over-voltage', 'contradicts', '2026-08-01'],
    ])
    expect(now?.date).toBe('2026-06-01')
    expect(withVerdicts(before, 'high.out', { ...found, identity: 'C, D' })).toBeNull()
    expect(withVerdicts(null, 'high.out', found)).toBeNull()
  })
})

describe('a bench without a qualification that counts', () => {
  it('is said to be not qualified, with the slowest published OFF and a computed poll', () => {
    const plan = planWith(null, '2026-09-01')
    expect(said(plan)).toContain('not qualified')
    expect(said(plan)).toContain('235 ms from OFF to no drive')
    expect(channelIn(null, '2026-09-01')).toEqual(stated)
  })
  it('is said to be old after twelve months, and of each figure the worse counts', () => {
    const smaller = { ...figures, output_F: figure(10e-6, 'F', 1e-6), off_s: figure(0.02, 's', 0.01) }
    const plan = planWith(document('A, B, 1, 2', smaller), '2027-07-01')
    expect(said(plan)).toContain('more than 12 months ago')
    expect(said(plan)).toContain('235 ms from OFF to no drive')
    expect(channelIn(document('A, B, 1, 2', smaller), '2027-07-01')?.output_F).toBe(stated?.output_F)
    expect(channelIn(document(), '2027-07-01')?.accuracy_V.plus).toBeCloseTo(1.4, 9)
  })
  it('does not believe a qualification of another supply than the bench file names', () => {
    const supply = parts.bench.supplies.high
    if (supply === undefined) throw new Error('no supply')
    const named = {
      ...parts.bench,
      supplies: { ...parts.bench.supplies, high: { ...supply, identity: 'C, D, 3, 4' } },
    }
    const bench = qualifiedBench(named, document(), '2026-09-01')
    expect(bench.measured?.['high.out']?.state).toBe('foreign')
    expect(bench.supplies.high?.channels.out).toEqual(supply.channels.out)
  })
  it('does not believe a date that lies ahead', () => {
    expect(qualifiedBench(parts.bench, document(), '2026-01-01').measured?.['high.out']?.state).toBe('old')
  })
})

describe('the qualification file', () => {
  const within = (work: (folder: string) => void): void => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
    try {
      cpSync('profiles/tern-rock', folder, { recursive: true })
      work(folder)
    } finally {
      rmSync(folder, { recursive: true, force: true })
    }
  }
  it('comes back as it was written', () => {
    within((folder) => {
      const path = qualificationPath(join(folder, 'bench.yaml'), null)
      writeFileSync(path, qualificationFile(document()))
      expect(readQualification(path)).toMatchObject({ value: document() })
    })
  })
  it('is found beside the bench file by its name, and by the name the bench file gives', () => {
    within((folder) => {
      const bench = join(folder, 'bench.yaml')
      writeFileSync(qualificationPath(bench, null), qualificationFile(document()))
      const state = (): string | undefined =>
        loadAll(join(folder, 'receive.yaml')).value?.bench.measured?.['high.out']?.state
      expect(state()).not.toBe('none')
      writeFileSync(bench, `${readFileSync(bench, 'utf8')}\nqualification: other.yaml\n`)
      expect(loadBench(bench).value?.qualification).toBe('other.yaml')
      expect(state()).toBe('none')
    })
  })
  it('goes into the record as it was read, with the checked tube figures: what limits rest on is kept with the run', () => {
    within((folder) => {
      const path = qualificationPath(join(folder, 'bench.yaml'), null)
      writeFileSync(path, qualificationFile(document()))
      const checks = join(folder, 'tube-checks.json')
      writeFileSync(checks, '{"slowglow":"tube checks 1","checks":[]}')
      const { files, plan } = planFiles('receive.yaml', undefined, folder)
      for (const each of [path, checks]) expect(files[basename(each)]).toBe(readFileSync(each, 'utf8'))
      expect(plan?.supplies?.map(({ text }) => text).join()).toContain('high.out was measured on')
    })
  })
  it('that cannot be used is told, and the bench counts as not qualified', () => {
    within((folder) => {
      writeFileSync(
        qualificationPath(join(folder, 'bench.yaml'), null),
        'slowglow: qualification 1\nbench: x\n',
      )
      const all = loadAll(join(folder, 'receive.yaml'))
      expect(all.problems.map(({ what }) => what).join()).toContain('counts as not qualified')
      expect(all.value?.bench.measured?.['high.out']?.state).toBe('none')
    })
  })
})
