import fc from 'fast-check'
import { describe, expect, it } from 'vitest'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

/**
 * The sequencer beside a judge that is far simpler and knows nothing of how it works: a few facts of the bench, a clock, and
 * what has been done to the run. After each thing done the judge says what must be so.
 */
interface Judge {
  begun: boolean
  /** Something that must end the run has happened: from here on nothing may rise, for ever. */
  doomed_us: number | null
  /** How long HT may stay on after that, µs: at once, or as long as a reading may be missing or beyond its trip. */
  grace_us: number
  heaters_on_us: number | null
  ht_on_us: number | null
  /** Channels that were off when the record was kept no more; null while it is kept. */
  off_without_record: readonly string[] | null
  /** Requests that the judge has already looked at. */
  seen: number
}

const ceiling_A = 0.1
const slew_V_per_s = 20
const warm_us = 30e6

/** Looked at after every tick. */
function look(judge: Judge, rig: Rig): void {
  const { t_us } = rig
  const on = (channel: string): boolean => rig.on[channel] === true
  if (!judge.begun) expect(['lt.1', 'bias.1', 'ht.1'].filter(on)).toEqual([])
  judge.heaters_on_us = on('lt.1') ? (judge.heaters_on_us ?? t_us) : null
  judge.ht_on_us = on('ht.1') ? (judge.ht_on_us ?? t_us) : null
  const ht_V = on('ht.1') ? (rig.set['ht.1'] ?? 0) : 0

  expect(ht_V).toBeLessThanOrEqual(250)
  if (ht_V > 5) {
    expect(on('bias.1')).toBe(true)
    expect(t_us - (judge.heaters_on_us ?? Infinity)).toBeGreaterThanOrEqual(warm_us)
    expect(ht_V).toBeLessThanOrEqual((slew_V_per_s * (t_us - (judge.ht_on_us ?? t_us))) / 1e6 + 3)
  }
  // Bias goes last: never while HT's own terminals hold more than the touch limit.
  if (!on('bias.1') && judge.begun) expect(rig.volts['ht.1'] ?? 0).toBeLessThan(60)

  if (judge.doomed_us !== null) {
    const raised = rig.commands
      .slice(judge.seen)
      .filter(
        (command) =>
          command.kind === 'line' && (command.do === 'on' || (command.do === 'set' && command.volts > 0)),
      )
      .filter(({ t_us }) => t_us > (judge.doomed_us ?? 0) + judge.grace_us)
    expect(raised).toEqual([])
    if (t_us > judge.doomed_us + judge.grace_us + 100_000) {
      if (!rig.ignoresOff.has('ht.1')) expect(on('ht.1')).toBe(false)
      // It cannot be made to obey; it must have been told.
      else if (on('ht.1')) expect(toldOff(rig, judge.doomed_us)).toBe(true)
    }
  }
  // A segment is raised only once the record has its intent: without a record no more comes up than what it had already.
  if (judge.off_without_record !== null) {
    const up = judge.off_without_record.filter((channel) => on(channel) && (rig.set[channel] ?? 0) > 5)
    expect(up.length).toBeLessThanOrEqual(1)
  }
  judge.seen = rig.commands.length
  if (rig.ending?.outputs_off === 'confirmed') expect(['lt.1', 'bias.1', 'ht.1'].filter(on)).toEqual([])
  if (rig.ending?.outcome === 'completed') expect(judge.doomed_us).toBeNull()
}

function toldOff(rig: Rig, since_us: number): boolean {
  return rig.commands.some(
    (command) =>
      command.t_us >= since_us &&
      ((command.kind === 'urgent off' && command.channels.includes('ht.1')) ||
        (command.kind === 'line' && command.do === 'off' && command.channel === 'ht.1')),
  )
}

class Act implements fc.Command<Judge, Rig> {
  constructor(
    private readonly name: string,
    private readonly can: (judge: Judge, rig: Rig | null) => boolean,
    private readonly act: (judge: Judge, rig: Rig) => void,
  ) {}
  check(judge: Readonly<Judge>): boolean {
    return this.can(judge, null)
  }
  run(judge: Judge, rig: Rig): void {
    this.act(judge, rig)
    look(judge, rig)
  }
  toString(): string {
    return this.name
  }
}

const running = (judge: Judge): boolean => judge.begun && judge.doomed_us === null
/** After these nothing may stay on for longer than the grace. */
const doom = (judge: Judge, rig: Rig, grace_us: number): void => {
  // What cannot be seen yet dooms nothing: with HT off an HT reading that stops is only waited for.
  if (rig.ending !== null || judge.doomed_us !== null) return
  judge.doomed_us = rig.t_us
  judge.grace_us = grace_us
}

const begin = new Act(
  'begin',
  (judge) => !judge.begun,
  (judge, rig) => {
    judge.begun = true
    rig.start()
  },
)
const wait = (s: number): Act =>
  new Act(
    `wait ${s} s`,
    () => true,
    (judge, rig) => {
      for (let i = 0; i < s * 20 && rig.ending === null; i++) {
        rig.tick()
        look(judge, rig)
      }
    },
  )
/** How long the run goes well before anything is done to it; HT begins to rise after some 50 s and stands at its top from some 80 s on. */
const healthy_s = fc.option(fc.integer({ min: 40, max: 110 }), { freq: 8 })

const acts = [
  fc.constant(begin),
  fc.integer({ min: 1, max: 30 }).map(wait),
  fc.constant(
    new Act('stop now', running, (judge, rig) => {
      rig.feed({ kind: 'stop', how: 'off now', by: 'judge' })
      doom(judge, rig, 0)
    }),
  ),
  fc.constant(
    new Act('run down', running, (judge, rig) => {
      rig.feed({ kind: 'stop', how: 'run down', by: 'judge' })
      // 250 V at the run-down's own pace; then off.
      doom(judge, rig, 30e6)
    }),
  ),
  fc.constantFrom('line lost', 'parent lost', 'recorder lost').map(
    (kind) =>
      new Act(kind, running, (judge, rig) => {
        if (kind === 'line lost') rig.feed({ kind, port: 'ht', text: 'judge' })
        else rig.feed({ kind: kind, text: 'judge' })
        doom(judge, rig, 0)
      }),
  ),
  fc.constantFrom('slept', 'late').map(
    (what) =>
      new Act(`the loop ${what}`, running, (judge, rig) => {
        rig.tick(what === 'late' ? 600_000 : 0, what === 'slept' ? 2_000_000 : 0)
        doom(judge, rig, 0)
      }),
  ),
  fc.constant(
    new Act('a protection of HT fires', running, (judge, rig) => {
      rig.feed({ kind: 'protection', channel: 'ht.1', which: 'over-current' })
      doom(judge, rig, 0)
    }),
  ),
  fc.constant(
    new Act(
      'stop now, after all',
      (judge) => judge.doomed_us !== null,
      (judge, rig) => {
        rig.feed({ kind: 'stop', how: 'off now', by: 'judge' })
        // Whatever grace there was is over.
        if (rig.ending === null) judge.grace_us = Math.min(judge.grace_us, rig.t_us - (judge.doomed_us ?? 0))
      },
    ),
  ),
  fc.constant(
    new Act('HT no longer obeys OFF', running, (_, rig) => {
      rig.ignoresOff.add('ht.1')
    }),
  ),
  fc.constant(
    new Act('the record is kept no more', running, (judge, rig) => {
      rig.keepsRecord = false
      judge.off_without_record ??= ['lt.1', 'bias.1', 'ht.1'].filter((channel) => rig.on[channel] !== true)
    }),
  ),
  fc.constant(
    new Act('overload on HT', running, (judge, rig) => {
      rig.extra_A['HT'] = 2 * ceiling_A
      // Only a rail that is on can show it; the hook-up check is a test of its own.
      if (rig.on['ht.1'] === true && (rig.set['ht.1'] ?? 0) > 5) doom(judge, rig, 100_000)
    }),
  ),
  fc.constantFrom('HT', 'BIAS', 'LT').map(
    (rail) =>
      new Act(`${rail} falls silent`, running, (judge, rig) => {
        rig.silent.add(rail)
        if (rig.on[`${rail.toLowerCase()}.1`] === true) doom(judge, rig, 1_200_000)
      }),
  ),
  fc.constant(
    new Act('grid meter shows no bias', running, (judge, rig) => {
      rig.grid = 0
      if (rig.on['ht.1'] === true && (rig.set['ht.1'] ?? 0) > 60) doom(judge, rig, 1_000_000)
    }),
  ),
]

describe('the sequencer beside a much simpler judge', () => {
  it('agrees with it, whatever is done in whatever order', () => {
    fc.assert(
      fc.property(healthy_s, fc.commands(acts, { maxCommands: 6, size: 'max' }), (well_s, commands) => {
        const model: Judge = {
          begun: false,
          doomed_us: null,
          grace_us: 0,
          heaters_on_us: null,
          ht_on_us: null,
          off_without_record: null,
          seen: 0,
        }
        const real = new Rig(smallPlan())
        if (well_s !== null) {
          begin.run(model, real)
          wait(well_s).run(model, real)
        }
        fc.modelRun(() => ({ model, real }), commands)
        // What was done last has its consequences as well.
        wait(40).run(model, real)
      }),
      {
        numRuns: Number(process.env['SLOWGLOW_RUNS'] ?? 40),
        seed: Number(process.env['SLOWGLOW_SEED'] ?? 20261128),
      },
    )
  })
})
