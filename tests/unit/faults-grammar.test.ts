import { describe, expect, it } from 'vitest'
import { checkFault, faultsOf, parseFault } from '../../src/virtual/index.js'
import { bench, receiver } from './virtual-fixture.js'

function parsed(text: string) {
  const result = parseFault(text)
  if (!result.ok) throw new Error(`${result.problem}; ${result.remedy}`)
  return result.value
}

describe('a fault as it is written', () => {
  it('is a part, a kind, and when it begins', () => {
    expect(parsed('C12:short@HT>150V')).toMatchObject({
      part: 'C12',
      kind: 'short',
      value: null,
      when: { kind: 'volts', rail: 'HT', above_V: 150 },
    })
    expect(parsed('line.HT:silent@step=4')).toMatchObject({
      part: 'line.HT',
      kind: 'silent',
      when: { kind: 'step', step: 4 },
    })
    expect(parsed('V3:gassy@t>600s').when).toEqual({ kind: 'time', after_us: 600_000_000 })
    expect(parsed('V3:gassy@t>10min').when).toEqual({ kind: 'time', after_us: 600_000_000 })
    expect(parsed('V3:gassy').when).toEqual({ kind: 'always' })
  })

  it('takes values in the words of parts lists', () => {
    expect(parsed('C1:leaky=220k').value).toBe(220_000)
    expect(parsed('R1:drift=×2').value).toBe(2)
    expect(parsed('R1:drift=1.6').value).toBe(1.6)
    expect(parsed('line.main:late=300ms').value).toBeCloseTo(0.3, 9)
    expect(parsed('HT:swapped=bias').other).toBe('bias')
  })

  it.each([
    ['C12', 'is not a fault'],
    ['C12:melted', 'no kind of fault'],
    ['C12:short@soon', 'does not say when'],
    ['C12:short@t>10', 'does not say when'],
    ['R1:drift=lots', 'R1:drift=lots'],
    ['R1:open=3', 'takes no value'],
    ['', 'is not a fault'],
  ])('is refused with what would be right: %s', (text, problem) => {
    const result = parseFault(text)
    expect(result.ok).toBe(false)
    if (!result.ok) {
      expect(result.problem).toContain(problem)
      expect(result.remedy.length).toBeGreaterThan(5)
    }
  })

  it('on a part that does not exist names those that do', () => {
    expect(checkFault(parsed('C9:short'), receiver, bench)?.remedy).toContain('C1')
    expect(checkFault(parsed('line.other:silent'), receiver, bench)?.remedy).toContain('line.main')
  })

  it('of a kind that is none names those of its own part alone', () => {
    const can = (part: string) => faultsOf(part, receiver, bench)
    const remedy = (text: string): string => {
      const result = parseFault(text, can)
      return result.ok ? '' : result.remedy
    }
    expect(remedy('HT:bais-lost')).toMatch(/^HT can be swapped, reversed, lead-off/)
    expect(remedy('V1:melted')).toMatch(/^V1 can be heater-open.*missing$/)
    expect(remedy('X9:melted')).toMatch(/^Kinds are/)
    expect(can('HT')).not.toContain('bias-lost')
    expect(can('V1')).not.toContain('no-drive')
  })

  it('of a kind that the part cannot have names the kinds it can', () => {
    expect(checkFault(parsed('V1:short'), receiver, bench)?.remedy).toContain('heater-open')
    expect(checkFault(parsed('C1:gassy'), receiver, bench)?.remedy).toContain('leaky')
    expect(checkFault(parsed('HT:bias-lost'), receiver, bench)?.problem).toContain('not a bias rail')
    expect(checkFault(parsed('HT:swapped'), receiver, bench)?.problem).toContain('needs a value')
    expect(checkFault(parsed('HT:swapped=HT'), receiver, bench)?.problem).toContain('another rail')
    expect(checkFault(parsed('C1:short@B9>10V'), receiver, bench)?.problem).toContain('not a rail')
  })

  it('that fits is accepted', () => {
    for (const text of [
      'C1:short',
      'C1:leaky=100k@HT>100V',
      'V1:missing',
      'HT:lead-off',
      'HT:swapped=heaters',
      'heaters:reversed',
      'main.ht:ignores-off@step=2',
      'main:trips@t>30s',
      'line.main:garbled@t>5s',
    ]) {
      expect(checkFault(parsed(text), receiver, bench)).toBeNull()
    }
  })
})
