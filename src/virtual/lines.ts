import type { Bench } from '../bench/index.js'
import type { Chance } from '../chance/index.js'
import type { VirtualInput } from './inputs.js'
import { makeOutput, type Output } from './outputs.js'
import { otherIdentity } from './port.js'
import { createMeterDevice, createSupplyDevice } from './supplies.js'
import type { VirtualInstrument } from './supplies-types.js'
import type { FaultSpec } from './types.js'

/** The lines of a virtual bench: which instrument stands at the end of each, and what is wrong with each. */
export interface VirtualLines {
  /** By port: named by its supply, or by its meter. */
  readonly instruments: ReadonlyMap<string, VirtualInstrument>
  /** Instruments that no line leads to any more; they go on. */
  readonly left: readonly VirtualInstrument[]
  /** What is wrong with the lines from here on, given whole. */
  faults(active: readonly FaultSpec[]): void
  /** Another instrument, at rest, stands at the end of this line; the one before hears nothing more. */
  plugMoved(port: string): void
}

export function createLines(
  bench: Bench,
  outputs: readonly Output[],
  inputs: ReadonlyMap<string, VirtualInput>,
  source: Chance,
): VirtualLines {
  const left: VirtualInstrument[] = []
  const instruments = new Map<string, VirtualInstrument>()
  for (const [name, supply] of Object.entries(bench.supplies)) {
    const faces = Object.fromEntries(
      outputs.flatMap(({ name: full, face }) =>
        full.startsWith(`${name}.`) ? [[full.slice(name.length + 1), face]] : [],
      ),
    )
    instruments.set(
      name,
      createSupplyDevice({
        name,
        supply,
        outputs: faces,
        inputs: ridingOn(name),
        chance: source.fork(`line ${name}`),
      }),
    )
  }
  for (const [name, meter] of Object.entries(bench.meters)) {
    const input = inputs.get(name)
    if (meter.line === null || input === undefined) continue
    instruments.set(name, createMeterDevice({ name, meter, ...input, chance: source.fork(`line ${name}`) }))
  }

  /** Read-only channels on this supply's line. */
  function ridingOn(supply: string): { ask: string; text: () => string | null }[] {
    return Object.entries(bench.meters).flatMap(([name, { on, ask }]) => {
      const input = inputs.get(name)
      return on === supply && ask !== null && input !== undefined ? [{ ask, text: () => input.text() }] : []
    })
  }

  return {
    instruments,
    left,
    faults(active) {
      for (const input of inputs.values()) input.faults(active)
      for (const [port, instrument] of instruments) {
        const on = active.filter(({ part }) => part === `line.${port}`)
        const late = on.find(({ kind }) => kind === 'late')?.value
        const has = (kind: string): boolean => on.some((fault) => fault.kind === kind)
        const isLocal = ({ part, kind }: FaultSpec): boolean =>
          kind === 'local' && outputsAt(outputs, part).some(({ name }) => name.startsWith(`${port}.`))
        instrument.faults({
          silent: has('silent'),
          garbled: has('garbled'),
          endless: has('endless'),
          noise: has('noise'),
          echo: has('echo'),
          behind: has('behind'),
          local: active.some(isLocal),
          ...(late === undefined || late === null ? {} : { late_s: late }),
        })
      }
    },
    plugMoved(port) {
      const before = instruments.get(port)
      const supply = bench.supplies[port]
      const meter = bench.meters[port]
      const other = source.fork(`another ${port}`)
      if (before === undefined) return
      left.push(before)
      if (supply !== undefined) {
        const faces = Object.entries(supply.channels).map(
          ([name, spec]) => [name, makeOutput(`another ${name}`, spec, other).face] as const,
        )
        const at = { ...supply, identity: otherIdentity }
        instruments.set(
          port,
          createSupplyDevice({ name: port, supply: at, outputs: Object.fromEntries(faces), chance: other }),
        )
      } else if (meter !== undefined) {
        const at = { ...meter, identity: otherIdentity }
        instruments.set(port, createMeterDevice({ name: port, meter: at, shows: () => 0, chance: other }))
      }
    },
  }
}

/** The outputs that a fault names: by rail, by supply and channel, or all of a supply. */
export function outputsAt(outputs: readonly Output[], part: string): readonly Output[] {
  return outputs.filter(({ name, rail }) => rail === part || name === part || name.startsWith(`${part}.`))
}
