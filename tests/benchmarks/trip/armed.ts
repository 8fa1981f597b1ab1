import { lineConfigOf } from '../../../src/line/index.js'
import { laidReady, type Loop } from '../../../src/loop/index.js'
import type { Plan } from '../../../src/plan/index.js'
import { channelOf, fullDialect, LineWorld, supplyOf } from '../../helpers/line-world.js'
import { Rig } from '../../helpers/rig.js'
import { smallPlan } from '../../helpers/small-plan.js'
import { volts, well } from './messages.js'

/** A run standing in its last hold, each line waiting for the answer to a question. */
export interface Armed {
  readonly loop: Loop
  readonly t_us: number
  readonly plan: Plan
  /** The question in flight on each port, as it is written. */
  readonly asked: Readonly<Record<string, string>>
}

/** HT of 250 V from one supply of one channel, or stacked from several of several; heaters and bias stand as in any run. */
export function armed(supplies: number, channels: number): Armed {
  const outputs = supplies * channels
  const names = Array.from({ length: outputs }, (_, at) => ({
    port: `ht${Math.floor(at / channels) + 1}`,
    number: (at % channels) + 1,
  }))
  const plan = smallPlan((small) => {
    const { HT } = small.rails
    const part = HT?.channels[0]
    if (HT === undefined || part === undefined) throw new Error('The small plan has no HT.')
    return {
      ...small,
      rails: {
        ...small.rails,
        HT: {
          ...HT,
          channels: names.map(({ port, number }) => ({
            ...part,
            port,
            channel: `${port}.${number}`,
            share: 1 / outputs,
            off_order: number,
          })),
        },
      },
      steps: small.steps
        .filter(({ hookup }) => hookup === null)
        .map((step) => (step.do === 'hold' ? { ...step, hold_s: 100_000 } : step)),
      time_budget_s: 200_000,
    }
  })
  const rig = new Rig(plan)
  // Each of a stack sees its own part of the volts and all of the current.
  rig.ohm['HT'] = (rig.ohm['HT'] ?? 5000) / outputs
  rig.zero = { V: 0, A: 0 }
  rig
    .start()
    .until('the last hold', () => rig.state.step === plan.steps.length - 1 && rig.state.part === 'hold')

  const lines: Record<string, LineWorld> = {}
  for (const port of new Set(names.map((name) => name.port))) {
    const dialect = channels > 1 ? fullDialect : { ...fullDialect, select: null }
    const supply = supplyOf(
      dialect,
      Object.fromEntries(
        names.flatMap((name) => (name.port === port ? [[String(name.number), channelOf(name.number)]] : [])),
      ),
    )
    const world = new LineWorld({ ...lineConfigOf(port, supply), identity: supply.identity }, supply)
    for (const { number } of names)
      world.fixed[String(number)] = { V: Number(volts(outputs)), A: Number(well.amps) }
    for (const face of Object.values(world.faces)) face.on = true
    lines[port] = world
    world.open()
    world.run(rig.t_us)
  }
  const t_us = Math.max(...Object.values(lines).map((line) => line.t_us), rig.t_us)
  for (const world of Object.values(lines)) {
    world.run(t_us - world.t_us)
    const found = world.run(5_000_000, () => {
      const move = world.state.flight?.move
      return (
        move?.kind === 'ask' && move.channel === 0 && move.want.is === 'reading' && move.want.quantity === 'A'
      )
    })
    if (!found) throw new Error(`${world.config.port} never asks for amps.`)
  }
  const portOf = Object.fromEntries(names.map(({ port, number }) => [`${port}.${number}`, port]))
  const configs = Object.values(lines).map(({ config }) => config)
  return {
    loop: {
      sequencer: rig.state,
      lines: Object.fromEntries(Object.entries(lines).map(([port, world]) => [port, world.state])),
      portOf,
      laidReady: laidReady(rig.state.off_first, portOf, configs),
      reform: null,
      slow: false,
      fed: true,
    },
    t_us: Math.max(t_us, ...Object.values(lines).map((line) => line.t_us)) + 1000,
    plan,
    asked: Object.fromEntries(
      Object.entries(lines).map(([port, world]) => [port, world.state.flight?.move.text ?? '']),
    ),
  }
}
