import { describe, expect, it } from 'vitest'
import { lineConfigOf } from '../../src/line/index.js'
import { firstLook, laidReady, type Loop, loopStep } from '../../src/loop/index.js'
import { step } from '../../src/sequencer/index.js'
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
  const portOf = { 'ht.1': 'ht' }
  return {
    loop: {
      sequencer: rig.state,
      lines: { ht: state },
      portOf,
      laidReady: laidReady(rig.state.off_first, portOf, [line.config]),
      reform: null,
      slow: false,
      fed: true,
    },
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

  it('what is given at once is what the step writes, each once and in its order', () => {
    const { loop, t_us } = raiseQueued()
    for (const text of ['0.031', '0.2']) {
      const given: string[] = []
      const input = { kind: 'port', port: 'ht', line: { kind: 'text', t_us, text } } as const
      loopStep(loop, input, (_, words) => given.push(words))
      expect(given).toEqual(writesOf(loop, t_us, text))
    }
  })

  it.each([
    ['running', '0.031'],
    ['making off', '0.2'],
  ])(
    'worked on in place it is %s as when it is copied, and a loop to be copied stays as it was',
    (phase, first) => {
      const { loop, t_us } = raiseQueued()
      const before = structuredClone(loop)
      let [copied, owned] = [loop, structuredClone(loop)]
      for (const [at, text] of [first, '200.0', '0.031', '0', '1'].entries()) {
        const heard = { kind: 'text', t_us: t_us + 40_000 * at, text } as const
        const tick = { kind: 'tick', t_us: heard.t_us + 20_000, late_us: 0, slept_us: 0 } as const
        for (const input of [
          { kind: 'port', port: 'ht', line: heard } as const,
          { kind: 'event', event: tick } as const,
        ]) {
          const [one, other] = [loopStep(copied, input), loopStep(owned, input, undefined, true)]
          expect(other).toEqual(one)
          ;[copied, owned] = [one.loop, other.loop]
        }
      }
      expect(copied.sequencer.phase).toBe(phase)
      expect(loop).toEqual(before)
    },
  )

  it('OFF is told once, by the first of two breaches, and the reason is still the more severe', () => {
    const { loop, t_us } = raiseQueued()
    const told: (readonly string[])[] = []
    const { state, commands } = step(
      loop.sequencer,
      { kind: 'reading', channel: 'ht.1', quantity: 'A', value: { n: 2, k: 1 }, t_us },
      (channels) => told.push(channels),
    )
    expect(state.off?.reason?.code).toBe('over-ceiling')
    expect(commands.filter(({ kind }) => kind === 'urgent off')).toEqual([
      { kind: 'urgent off', channels: ['ht.1'] },
    ])
    expect(told).toEqual([['ht.1']])
  })

  it('a current above its ceiling has OFF on its line at first look, and the same reply then ends the run without saying it again', () => {
    const { loop, t_us } = raiseQueued()
    const heard = (text: string) =>
      ({ kind: 'port', port: 'ht', line: { kind: 'text', t_us, text } }) as const
    const said: string[] = []
    const give = (_: string, text: string): void => void said.push(text)
    const before = structuredClone(loop)
    const given = firstLook(loop, heard('0.2'), give)
    expect(said).toEqual([expect.stringContaining(':OUTP OFF')])
    expect(given).toEqual({ ht: said[0] })
    expect(loop).toEqual(before)
    const after = loopStep(loop, heard('0.2'), give, false, given)
    expect(said).toHaveLength(1)
    // Decided and told as without it.
    expect(after).toEqual(loopStep(loop, heard('0.2')))
    expect(after.loop.sequencer.off?.reason?.code).toBe('over-ceiling')
    // What the supply cannot measure is no current, and what is inside its limits no reason.
    for (const text of ['0.9', '0.2V', '0.031', '']) expect(firstLook(loop, heard(text), give)).toBeNull()
    expect(firstLook(loop, { kind: 'port', port: 'ht', line: { kind: 'time', t_us } }, give)).toBeNull()
    expect(firstLook(after.loop, heard('0.2'), give)).toBeNull()
    expect(said).toHaveLength(1)
  })

  it('looks first where the supply cannot say that it limits, too, and judges the reading before what the line tells with it', () => {
    const { loop, t_us } = raiseQueued()
    const { ht } = loop.lines
    const [known] = ht?.channels ?? []
    if (ht === undefined || known === undefined) throw new Error('The loop has no HT line.')
    const config = { ...ht.config, dialect: { ...ht.config.dialect, ask_cc: null } }
    const channels = [{ ...known, limit_A: 0.2, output: true, regulation: 'voltage' as const }]
    const silent: Loop = { ...loop, lines: { ht: { ...ht, config, channels } } }
    const input = { kind: 'port', port: 'ht', line: { kind: 'text', t_us, text: '0.2' } } as const
    const given = firstLook(silent, input, () => undefined)
    expect(given?.['ht']).toContain(':OUTP OFF')
    const { loop: after, outputs } = loopStep(silent, input, undefined, false, given)
    expect(after.sequencer.off?.reason?.code).toBe('over-ceiling')
    const fed = outputs.flatMap((output) => (output.kind === 'fed' ? [output.event.kind] : []))
    expect(fed.slice(0, 2)).toEqual(['reading', 'regulation'])
    // Without a first look they come as the line told them.
    const plain = loopStep(silent, input).outputs
    expect(plain.flatMap((output) => (output.kind === 'fed' ? [output.event.kind] : []))).toEqual([
      ...['regulation', 'reading', 'failed'],
    ])
  })

  it('ends a run whose OFF was given, also where nothing is found broken behind it', () => {
    const { loop, t_us } = raiseQueued()
    const said: string[] = []
    const input = { kind: 'port', port: 'ht', line: { kind: 'text', t_us, text: '0.031' } } as const
    const given = { ht: loop.laidReady[0]?.[1] ?? '' }
    const { loop: after } = loopStep(loop, input, (_, text) => said.push(text), false, given)
    expect(after.sequencer).toMatchObject({ phase: 'making off', off: { how: 'urgent', outcome: 'failed' } })
    expect(after.sequencer.off?.reason?.code).toBe('invariant')
    expect(after.sequencer.off?.reason?.text).toContain('a fault of slowglow')
    // Said again where need be; nothing else is said by then.
    expect(said.filter((text) => !text.includes(':OUTP OFF'))).toEqual([])
  })

  it('OFF is given in the moment in which it is decided: not one word of its reason is made before', () => {
    const { loop, t_us } = raiseQueued()
    const seen: string[] = []
    const { plan } = loop.sequencer
    const step = plan.steps[loop.sequencer.step]
    const HT = step?.limits['HT']
    if (!step || !HT) throw new Error('The small plan has no HT here.')
    const because = HT.because.map((reason) => ({
      ...reason,
      get text() {
        seen.push('reason')
        return reason.text
      },
    }))
    const watched = { ...HT, because }
    const steps = plan.steps.map((each) =>
      each === step ? { ...step, limits: { ...step.limits, HT: watched } } : each,
    )
    const armed = { ...loop, sequencer: { ...loop.sequencer, plan: { ...plan, steps } } }
    const input = { kind: 'port', port: 'ht', line: { kind: 'text', t_us, text: '0.2' } } as const
    loopStep(armed, input, (_, text) => seen.push(text.includes(':OUTP OFF') ? 'OFF' : 'other'))
    expect(seen.filter((what) => what !== 'other').slice(0, 2)).toEqual(['OFF', 'reason'])
  })
})
