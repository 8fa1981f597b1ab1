import { describe, expect, it } from 'vitest'
import { quantityTyped } from '../../src/console/words/figures.js'
import { planPage } from '../../src/cli/plan-text.js'
import { loadAll } from '../../src/files/index.js'
import {
  makePlan,
  type Plan,
  toldBeforeSteps,
  toldBehindSteps,
  toldOfCharts,
  toldOfOff,
} from '../../src/plan/index.js'

function planned(path: string): Plan {
  const { value } = loadAll(path)
  const plan = value === null ? null : makePlan(value.profile, value.equipment, value.bench).plan
  if (plan === null) throw new Error(`${path} has no plan`)
  return plan
}

describe('what a plan tells beside its steps', () => {
  const plan = planned('profiles/small-receiver/receive-network.yaml')
  const withMore: Plan = {
    ...plan,
    heaters: plan.heaters.map((watch, i) =>
      i === 0
        ? {
            ...watch,
            mercury: {
              text: 'V5: mercury vapour heats alone',
              first_use_s: 1800,
              source: 'a manual',
            } as never,
          }
        : watch,
    ),
    filaments: [{ text: 'V1: its grid returns to the negative end' } as never],
    learned: { from: ['a', 'b'], lines: ['Step 9, HT: band 1 A to 3 A now 1.5 A to 2 A.'] },
  }
  const sections = [
    ...toldBeforeSteps(withMore),
    ...toldBehindSteps(withMore),
    ...toldOfCharts(withMore),
    toldOfOff(withMore),
  ]

  it('is every section of the terminal, with let-through, what was learned, filaments and mercury', () => {
    const titles = sections.map(({ title }) => title)
    for (const title of [
      'Rails',
      'Mercury-vapour rectifiers',
      'Filaments on direct current',
      'What a fault lets through at worst',
      'Learned from earlier runs of this set',
      'Handbook charts',
      'Going off',
    ])
      expect(titles).toContain(title)
    const page = planPage(withMore).replaceAll(/\s+/g, ' ')
    const own = [
      ...['COLD CHECKS: THE SET GETS NO POWER', 'HOOK-UP', 'STEPS', 'WHY THESE LIMITS', 'SOURCES'],
      ...['RULES THAT STOP THE RUN', 'LIMITS STATED BY HAND', 'NOT PROVED BY THIS RUN'],
    ]
    const all = planPage(withMore)
      .split('\n\n')
      .map((section) => section.split('\n')[0] ?? '')
      .filter((line) => /^[A-Z][A-Z :-]+$/.test(line))
    // Nothing is told at a terminal alone.
    expect(all.filter((title) => !own.includes(title))).toEqual(titles.map((title) => title.toUpperCase()))
    for (const { parts } of sections)
      for (const part of parts)
        if (part.is === 'table') for (const row of part.rows) expect(page).toContain(row[0])
        else expect(page).toContain(part.text)
  })

  it('tells in every row of what is let through what each source gives, and what the weakest part stands', () => {
    const table = sections
      .find(({ title }) => title.startsWith('What a fault lets'))
      ?.parts.find((part) => part.is === 'table')
    expect(table?.is === 'table' ? table.rows.length : 0).toBe(plan.let_through?.length)
  })
})

describe('a figure that is typed with its unit beside it', () => {
  it('takes either decimal mark, keeps a unit that was typed, and guesses none', () => {
    expect(quantityTyped('3,2', 'kΩ')).toEqual({ text: '3.2 kΩ' })
    expect(quantityTyped(' 3.2 ', 'V')).toEqual({ text: '3.2 V' })
    expect(quantityTyped('−1,5', 'V')).toEqual({ text: '-1.5 V' })
    expect(quantityTyped('26,2 Ω', 'kΩ')).toEqual({ text: '26.2 Ω' })
    expect(quantityTyped('4k7', '')).toEqual({ text: '4k7' })
    expect(quantityTyped('OL', '')).toEqual({ text: 'OL' })
    expect(quantityTyped('', '')).toEqual({ text: '' })
    expect(quantityTyped('5', '')).toHaveProperty('wrong')
    // Thousands to one who reads and thousandths to another: by the mark that is not the locale's own.
    const both = [quantityTyped('1,234', 'V'), quantityTyped('1.234', 'V')]
    expect(both.filter((each) => 'wrong' in each)).toHaveLength(1)
    expect(quantityTyped('--', 'V')).toHaveProperty('wrong')
  })
})
