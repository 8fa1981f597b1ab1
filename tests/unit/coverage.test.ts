import { resolve } from 'node:path'
import { describe, expect, it } from 'vitest'
import { standingText } from '../../src/cautions/index.js'
import { coverageText, hidingIn } from '../../src/cli/coverage-text.js'
import { plansDesk } from '../../src/cli/desk/plans.js'
import { setsDesk } from '../../src/cli/desk/sets.js'
import { priorsOf } from '../../src/cli/priors.js'
import { burnsUnseen } from '../../src/cli/unseen-cautions.js'
import { pairWords } from '../../src/console/prepare/pair-words.js'
import {
  coverageOf,
  createBed,
  createLab,
  doubleFaults,
  faulted,
  faultsOf,
  pointsOf,
} from '../../src/faults/index.js'
import { loadAll } from '../../src/files/index.js'
import { benchRails, stresses } from '../../src/limits/index.js'
import { findTube } from '../../src/tubes/index.js'
import { makePlan } from '../../src/plan/index.js'
import { itemsFor, makeWorksheet, withUnseen } from '../../src/worksheet/index.js'

function covered(path: string) {
  const all = loadAll(path).value
  if (all === null) throw new Error(`${path} does not load`)
  const { plan } = makePlan(all.profile, all.equipment, all.bench)
  if (plan === null) throw new Error('no plan')
  return { ...all, plan, coverage: coverageOf({ equipment: all.equipment, bench: all.bench, plan }) }
}

describe('coverage of a small set with a circuit', () => {
  const { equipment, bench, plan, coverage } = covered('profiles/small-receiver/receive-network.yaml')
  const of = (fault: string) => {
    const found = coverage.faults.find((each) => each.fault === fault)
    if (found === undefined) throw new Error(`${fault} is not in the library`)
    return found
  }
  it('tries every fault of every part, tube and rail once', () => {
    const faults = faultsOf(equipment)
    expect(new Set(faults.map(({ fault }) => fault)).size).toBe(faults.length)
    expect(coverage.total).toBe(faults.length)
    for (const part of [...Object.keys(equipment.parts), ...Object.keys(equipment.tubes), 'HT'])
      expect(
        faults.some((fault) => fault.part === part),
        part,
      ).toBe(true)
  })
  it('finds a shorted reservoir below 5 V, before anything is raised', () => {
    expect(of('C1:short')).toMatchObject({ caught: true, how: 'hook-up check', by: 'HT', early: true })
  })
  it('finds the output tube missing when its rail draws too little, and says so as a question', () => {
    const { caught, how, step } = of('V4:no-emission')
    expect(caught).toBe(true)
    expect(how).toBe('asked')
    expect(plan.steps.some(({ index }) => index === step)).toBe(true)
  })
  it('cannot see a dried-out capacitor at rest, and turns it into a check by hand', () => {
    expect(of('C2:low')).toMatchObject({ caught: false, step: null, early: true })
    expect(coverage.hand_checks.find(({ part }) => part === 'C2')?.text).toMatch(/capacitance/)
  })
  it('names for each check by hand an item of the worksheet, which then says what the plan does not notice', () => {
    const sheet = makeWorksheet(equipment)
    for (const { part } of coverage.hand_checks) expect(itemsFor(sheet, part), part).not.toHaveLength(0)
    const told = withUnseen(sheet, plan.profile, coverage.hand_checks)
    const because = (item: string) => told.checks.find((check) => check.item === item)?.because ?? ''
    expect(because('C2 capacitance')).toMatch(/does not notice in time: .*C2:low/)
    expect(because('V2 tube')).toMatch(/does not notice in time: V2:.*of which a part may burn/)
    expect(told.checks.map(({ item }) => item)).toEqual(sheet.checks.map(({ item }) => item))
  })
  it('has an item for every part of every set that can fail', () => {
    for (const path of [
      'profiles/tern-rock/transmit.yaml',
      'tests/sets/hailer/receive.yaml',
      'tests/sets/converter/receive.yaml',
    ]) {
      const other = loadAll(path).value
      if (other === null) throw new Error(`${path} does not load`)
      const sheet = makeWorksheet(other.equipment)
      const bare = new Set(
        faultsOf(other.equipment)
          .map(({ part }) => part)
          .filter((part) => itemsFor(sheet, part).length === 0),
      )
      expect([...bare], path).toEqual([])
    }
  })
  it('reckons stress until the outputs are off: a rail that is switched off later does more', () => {
    const { plan: own, ...other } = covered('tests/sets/hailer/receive.yaml')
    // In one step from nothing to the top, where a rule that is broken on the way has far to go.
    const raises = own.steps.filter(({ do: what }) => what === 'raise')
    const heated = (rail: string | null) => other.equipment.rails[rail ?? '']?.role === 'heater'
    const steps = raises.filter((step) => heated(step.rail) || step === raises.at(-1))
    const within = (for_s: number) =>
      coverageOf({
        ...other,
        plan: { ...own, steps, let_through: (own.let_through ?? []).map((each) => ({ ...each, for_s })) },
      })
    const [soon, never] = [within(0), within(1e6)]
    let more = 0
    for (const [i, { fault, stress, early }] of soon.faults.entries()) {
      const late = never.faults[i]
      const of = [stress?.of_allowed ?? 0, late?.stress?.of_allowed ?? 0] as const
      expect(of[1], fault).toBeGreaterThanOrEqual(of[0] * 0.999)
      if (!early) expect(late?.early, fault).toBe(false)
      more += Number(of[1] > 1.01 * of[0])
    }
    expect(more).toBeGreaterThan(0)
  })
  it('says what a run without the tube that hides most would show, and where a meter would', () => {
    const texts = coverage.suggestions.map(({ text }) => text)
    expect(texts.find((text) => text.includes('V4 pulled'))).toMatch(
      /charge measured away first.*would show \d+ more/,
    )
    expect(texts.some((text) => text.startsWith('A meter on a line at'))).toBe(true)
  })
  it('knows pins that nothing reaches, another type in the socket and a wiper that does not touch', () => {
    for (const name of ['V2:grid-open', 'V2:cathode-open', 'V2:wrong-type=6SJ7'])
      expect(faultsOf(equipment).map(({ fault }) => fault)).toContain(name)
    const rock = loadAll('profiles/tern-rock/transmit.yaml').value
    if (rock === null) throw new Error('the demo does not load')
    const wiper = faultsOf(rock.equipment).find(({ fault }) => fault === 'R63:wiper-open')
    if (wiper === undefined) throw new Error('R63 has no wiper')
    const spot = createLab(rock.equipment, rock.bench).at({
      mode: 'transmit',
      volts: { bias: 60 },
      hot: true,
    })
    const whole = spot.state(null)?.volts['modulator bias'] ?? 0
    expect(whole).toBeLessThan(-15)
    expect(spot.state({ fault: wiper })?.volts['modulator bias']).toBeGreaterThan(whole + 5)
  })
  it('counts each fault once, and never a part that has failed already as burnt', () => {
    const { caught, late, burns_unseen, harmless_unseen, total } = coverage
    expect(caught + late + burns_unseen + harmless_unseen).toBe(total)
    expect(coverage.share).toBeCloseTo(caught / total)
    for (const { part, kind, stress } of coverage.faults)
      if (kind === 'short' || kind === 'open') expect(stress?.part).not.toBe(part)
  })
  it('has a check by hand for whatever it does not notice in time', () => {
    for (const { caught, early, part } of coverage.faults)
      if (!caught || !early) expect(coverage.hand_checks.some((check) => check.part === part)).toBe(true)
  })
  it('tries the likeliest pairs beside the single faults, counts them apart, and says which hide one another', () => {
    const { pairs, faults, total } = coverage
    expect(pairs.length).toBe(24)
    expect(faults).toHaveLength(total)
    for (const { fault } of pairs)
      for (const half of fault.split(' + ')) expect(faults.some((each) => each.fault === half)).toBe(true)
    const text = coverageText({ ...coverage, hand_checks: [], hiding: hidingIn(coverage) }, true)
    expect(text).toContain(pairWords(pairs).replace(' of faults', ' of them'))
    expect(text).toMatch(/Of the 24 likeliest pairs of them \d+ are noticed in time, \d+ too late, \d+ never/)
    const inTime = (name: string) => faults.some((each) => each.fault === name && each.caught && each.early)
    for (const pair of pairs) {
      const hides = !(pair.caught && pair.early) && pair.fault.split(' + ').some(inTime)
      expect(text.includes(`  ${pair.text}\n`), pair.fault).toBe(hides)
    }
  })
  it('tells of every fault the worst stress on any part until then, or why there is none', () => {
    for (const { fault, stress, no_stress, early } of coverage.faults) {
      expect((stress === null) !== (no_stress === null), fault).toBe(true)
      expect(stress === null || stress.of_allowed <= 1.0005, fault).toBe(early)
    }
    expect(of('C1:short').no_stress).toMatch(/check of the wiring below 5 V/)
    // Neither changes anything at rest: the set stands as a whole one does.
    const { stress } = of('C2:low')
    expect(stress).toEqual(of('C2:open').stress)
    const bed = createBed(equipment, 'receive', benchRails(equipment, bench), [])
    const own = pointsOf(equipment, plan).map(({ point }) => {
      const { solution, now } = bed.solve(point, [], new Set())
      const elements = bed.network.elements.map((element) => now(element.name) ?? element)
      return Math.max(
        ...stresses(equipment, elements, solution).flatMap(({ part, ratio }) =>
          part === 'C2' ? [] : [ratio],
        ),
      )
    })
    expect(stress?.of_allowed).toBeCloseTo(Math.max(...own), 3)
    expect(stress?.as_whole).toBe(true)
    for (const { fault, stress, early } of coverage.faults)
      if (!early) expect(stress?.as_whole, fault).toBe(false)
  })
  it('says beside what is noticed in time how hard a part stood by then, or why that is not told', () => {
    const text = coverageText({ ...coverage, hand_checks: [], hiding: [] }, true)
    const table = text.slice(text.indexOf('Noticed in time:'), text.indexOf('Never noticed, no known'))
    const inTime = coverage.faults.filter(({ caught, early }) => caught && early)
    expect(inTime.some(({ stress }) => stress !== null)).toBe(true)
    for (const { text: fault, stress, no_stress } of inTime) {
      const line = table.split('\n').find((each) => each.startsWith(`  ${fault} `)) ?? ''
      if (stress === null) expect(line.endsWith(no_stress ?? '?'), line).toBe(true)
      else expect(line).toContain(` of ${stress.rating} in step ${stress.step}`)
      expect(line.endsWith(', as in a whole set')).toBe(stress?.as_whole === true)
    }
  })
  it('counts a fault as often as a person says, and refuses one that the set has not', () => {
    const often = priorsOf(['V4=100', 'leaky=0.5'], equipment, 'receive')
    if ('exit' in often) throw new Error(often.what)
    const one = (kind: string) => faultsOf(equipment).find((each) => each.fault === kind)
    const [weak, leaky] = [one('V4:no-emission'), one('C2:leaky')]
    if (weak !== undefined) expect(often.weight(weak)).toBeCloseTo(100 * weak.weight)
    if (leaky !== undefined) expect(often.weight(leaky)).toBeCloseTo(0.5 * leaky.weight)
    expect(often.told.join()).toContain('V4=100, leaky=0.5')
    const unknown = (text: string) => priorsOf([text], equipment, 'receive')
    expect(unknown('C99=2')).toMatchObject({
      exit: 2,
      what: expect.stringContaining('"C99" is no part, kind of fault or fault of') as string,
      remedy: expect.stringMatching(/Kinds are .*leaky.*; parts: /) as string,
    })
    expect(unknown('V4:leeky=2')).toMatchObject({
      exit: 2,
      remedy: expect.stringContaining('Faults of V4: V4:') as string,
    })
    expect(unknown('V4=')).toMatchObject({
      exit: 2,
      what: expect.stringContaining('says of no fault') as string,
    })
    expect(priorsOf(['V4:weak=3'], equipment, 'receive')).not.toHaveProperty('exit')
  })
  it('says nothing that could be taken for leave to touch', () => {
    expect(JSON.stringify(coverage)).not.toMatch(/safe to/i)
  })
  it('pairs the likeliest faults of different parts, likelier first and none likelier than its halves', () => {
    const single = faultsOf(equipment)
    const pairs = doubleFaults(single, 30)
    expect(pairs.length).toBe(30)
    const weights = pairs.map(({ weight }) => weight)
    expect(weights).toEqual([...weights].sort((a, b) => b - a))
    expect(Math.max(...weights)).toBeLessThan(Math.max(...single.map(({ weight }) => weight)))
  })
})

describe('coverage of the demo receiver', () => {
  const { coverage, plan } = covered('profiles/tern-rock/receive.yaml')
  it('tells of an earlier hold where one helps, though more faults come too late with the heaters, where none does', () => {
    const late = coverage.faults.filter(({ caught, early }) => caught && !early)
    const at = (index: number | null) => late.filter(({ step }) => step === index).length
    const heating = plan.steps.filter(({ rail }) => rail === 'heaters').map(({ index }) => index)
    expect(Math.max(...heating.map(at))).toBeGreaterThan(at(10))
    expect(coverage.suggestions.filter(({ text }) => text.startsWith('A hold of'))).toEqual([
      {
        text: 'A hold of HT at 125 V, before step 10, would notice 3 in time of what is now noticed too late: R4:short, R8:short, R16:short.',
        more_caught: 3,
        saved: 3,
      },
    ])
  })
  it('tells a stress of all but those that are noticed before any rail but heaters stands', () => {
    const none = coverage.faults.filter(({ stress }) => stress === null)
    expect(none.length).toBeGreaterThan(0)
    for (const { fault, no_stress, how, step } of none) {
      expect(no_stress, fault).toMatch(/below 5 V|noticed with the heaters/)
      expect(how === 'hook-up check' || (how === 'off at once' && step === 5), fault).toBe(true)
    }
  })
  it('gives the other of a pair of heaters in series twice its volts, which no rail current shows', () => {
    const found = coverage.faults.find(({ fault }) => fault === 'V1:heater-short')
    expect(found).toMatchObject({ caught: false, early: false })
    // V1 and V2, 6.3 V each, in series on 12.6 V.
    expect(found?.stress?.what).toBe('V2 heater volts')
    expect(found?.stress?.of_rating).toBeCloseTo(2, 1)
    expect(coverage.hand_checks.find(({ part }) => part === 'V1')?.text).toMatch(
      /its heater with an ohmmeter/,
    )
  })
})

describe('faults of heaters', () => {
  it('side by side take their rail above its trip', () => {
    const { coverage } = covered('tests/sets/hailer/receive.yaml')
    const found = coverage.faults.find(({ fault }) => fault === 'V1:heater-short')
    expect(found).toMatchObject({ caught: true, how: 'off at once', by: 'heaters', early: true })
  })
})

describe('faults of diodes', () => {
  const { equipment } = covered('profiles/small-receiver/receive-network.yaml')
  const record = findTube('5U4G').found
  if (record === null) throw new Error('no 5U4G')
  const other: typeof equipment = {
    ...equipment,
    parts: { ...equipment.parts, D9: { kind: 'diode', between: ['B plus', 'V4 cathode'] } },
    tubes: {
      ...equipment.tubes,
      V9: { type: '5U4G', written: '5U4G', record, sections: [{ plate: 'B plus', cathode: 'V4 cathode' }] },
    },
  }
  const changed = (name: string) => {
    const fault = faultsOf(other).find(({ fault: each }) => each === name)
    if (fault === undefined) throw new Error(`${name} is not in the library`)
    return faulted(createBed(other, 'receive', {}, []), fault)
  }
  it('are a semiconductor that leaks backwards, and a tube whose electrodes touch, leak to the heater or are not reached', () => {
    const ohms = (name: string) => changed(name).map((each) => ('ohm' in each ? each.ohm : null))
    expect(ohms('D9:leaky=10k')[0]).toBeCloseTo(10e3, 0)
    expect(ohms('V9:short')).toEqual([0.5])
    for (const pin of ['plate', 'cathode'])
      expect(changed(`V9:${pin}-open`)).toMatchObject([{ name: 'V9', emission: 0 }])
  })
})

describe('the sheet of cold checks on the page', () => {
  it('says at each check what the plan of the profile does not notice, as the command does, and on paper too', async () => {
    const desk = setsDesk({
      folder: resolve('profiles/small-receiver'),
      runs: '/nowhere',
      elsewhere: [],
      env: {},
    })
    const because = (sheet: Awaited<ReturnType<typeof desk.worksheet>>) =>
      sheet.checks.find(({ item }) => item === 'V2 tube')?.check?.because
    const wanted = /does not notice in time: .*of which a part may burn/
    expect(because(await desk.worksheet({ file: 'receive-network.yaml' }))).toMatch(wanted)
    const { html } = await desk.setPage({ file: 'receive-network.yaml', page: 'worksheet' })
    expect(html).toMatch(wanted)
  })
  it('stands by name in the cautions of every start at the page', async () => {
    const desk = plansDesk({
      folder: resolve('profiles/small-receiver'),
      runs: '/nowhere',
      elsewhere: [],
      env: {},
    })
    const start = { profile: 'receive-network.yaml', faults: [], speed: 1, continues: false }
    const { cautions } = await desk.prepare(start)
    const { coverage } = covered('profiles/small-receiver/receive-network.yaml')
    const burning = coverage.faults.filter(({ early }) => !early)
    expect(burning.length).toBeGreaterThan(0)
    const lines = cautions.split('\n')
    for (const { text, step } of burning.slice(0, 10)) {
      const line = lines.find((each) => each.startsWith(`  - ${text}: `))
      expect(line).toMatch(step === null ? /% of .*, never shown/ : /% of .*, shown in step \d/)
    }
    expect(cautions).toMatch(/V4: nothing reaches its plate pin: .*never shown \(worksheet: V4 tube\)/)
    const never = coverage.faults.filter(({ caught }) => !caught).length
    expect(lines).toContain(
      `- ${never} faults this plan cannot show, of ${coverage.total} that were tried; the worksheet has a check for each (named by slowglow coverage, and on the page by Prepare).`,
    )
    expect(cautions.indexOf('NOT SHOWN IN TIME')).toBeLessThan(cautions.indexOf(standingText))
  })
  it('says nothing of faults where parts lie lifted out of the set', () => {
    const { equipment, bench, plan } = covered('profiles/small-receiver/receive-network.yaml')
    expect(burnsUnseen({ equipment, bench, plan, files: {}, lifted: true })).toEqual([])
  })
})

describe('coverage of a set without a circuit', () => {
  it('tries nothing and says why', () => {
    const { coverage } = covered('profiles/small-receiver/receive.yaml')
    expect(coverage.total).toBe(0)
    expect(coverage.notes.join(' ')).toMatch(/no circuit/)
  })
})
