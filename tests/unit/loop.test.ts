import { describe, expect, it } from 'vitest'
import { lineConfigOf } from '../../src/line/index.js'
import { type Loop, loopStep } from '../../src/loop/index.js'
import { channelOf, fullDialect, LineWorld, supplyOf } from '../helpers/line-world.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

const supply = supplyOf(fullDialect, { '1': channelOf(1) })

/** HT in mid-ramp, its line waiting for an answer, and a raise queued behind that question. */
function raiseQueued(): { loop: Loop; t_us: number } {
  const rig = new Rig(smallPlan()).start()
  rig.until('mid-ramp', () => (rig.set['ht.1'] ?? 0) > 150)
  const line = new LineWorld(lineConfigOf('ht', supply), supply)
  line.open()
  line.run(5_000_000, () => line.kinds('reading').length > 8)
  line.run(rig.t_us - line.t_us)
  line.run(2_000_000, () => {
    const move = line.state.flight?.move
    return move?.kind === 'ask' && move.want.is === 'reading' && move.want.quantity === 'A'
  })
  line.give({ kind: 'request', do: 'set', volts: 200, id: 9999, channel: 'ht.1', t_us: line.t_us })
  const { state } = line
  return {
    loop: { sequencer: rig.state, lines: { ht: state }, portOf: { 'ht.1': 'ht' } },
    t_us: Math.max(line.t_us, rig.t_us) + 1000,
  }
}
const writesOf = (loop: Loop, t_us: number, text: string): string[] =>
  loopStep(loop, { kind: 'port', port: 'ht', line: { kind: 'text', t_us, text } }).outputs.flatMap(
    (output) => (output.kind === 'write' ? [output.text] : []),
  )

describe('line and sequencer joined', () => {
  it('a reading inside its limits lets the queued raise out', () => {
    const { loop, t_us } = raiseQueued()
    expect(writesOf(loop, t_us, '0.031').join('')).toContain(':VOLT 200')
  })

  it('OFF is the last word on the wire: no queued raise follows the OFF that a reading causes', () => {
    const { loop, t_us } = raiseQueued()
    const writes = writesOf(loop, t_us, '0.2')
    expect(writes.at(-1)).toContain(':OUTP OFF')
    expect(writes.slice(writes.findIndex((text) => text.includes(':OUTP OFF'))).join('')).not.toContain(
      ':VOLT',
    )
  })
})
