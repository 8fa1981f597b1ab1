import { describe, expect, it } from 'vitest'
import { Gate, longest_line } from '../../src/supply/gate.js'

function gate(): { take: (text: string) => void; lines: string[]; discarded: number[]; finish: () => void } {
  const lines: string[] = []
  const discarded: number[] = []
  const one = new Gate({
    text: (line) => lines.push(line),
    discarded: (bytes) => discarded.push(bytes),
  })
  return {
    lines,
    discarded,
    take: (text) => {
      one.take(Buffer.from(text, 'latin1'))
    },
    finish: () => {
      one.finish()
    },
  }
}

describe('bytes into lines', () => {
  it('passes whole lines whatever ends them and however they are cut into chunks', () => {
    const g = gate()
    for (const c of '1.0\r\n2.0\n3.0\r4.0\n\n') g.take(c)
    g.take('5.0\n6.0\n7')
    expect(g.lines).toEqual(['1.0', '2.0', '3.0', '4.0', '5.0', '6.0'])
    expect(g.discarded).toEqual([])
  })

  it('keeps all eight bits, so that a garbled byte is not mistaken for a digit', () => {
    const g = gate()
    g.take('\xb1\xae\xb5\n')
    expect(g.lines).toEqual(['\xb1\xae\xb5'])
  })

  it('throws an over-long line away whole and counts every byte of it', () => {
    const g = gate()
    g.take(`${'9'.repeat(longest_line + 1)}\n1.0\n`)
    expect(g.lines).toEqual(['1.0'])
    expect(g.discarded.reduce((a, b) => a + b, 0)).toBe(longest_line + 1)
  })

  it('reports a flood that never ends while it comes', () => {
    const g = gate()
    for (let i = 0; i < 100; i++) g.take('x'.repeat(1000))
    expect(g.lines).toEqual([])
    expect(g.discarded.reduce((a, b) => a + b, 0)).toBeGreaterThan(99_000)
    g.take('\n1.0\n')
    expect(g.lines).toEqual(['1.0'])
  })

  it('counts an unfinished line at the end and never passes it on', () => {
    const g = gate()
    g.take('2.')
    g.finish()
    expect(g.lines).toEqual([])
    expect(g.discarded).toEqual([2])
  })
})
