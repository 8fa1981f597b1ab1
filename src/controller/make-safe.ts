import type { LineConfig } from '../line/index.js'
import type { OffPlan } from '../plan/index.js'
import type { PortLine } from '../supply/index.js'
import { createPorts } from './ports.js'
import {
  safeOffBegin,
  type SafeOffInput,
  type SafeOffOutput,
  type SafeOffResult,
  safeOffStep,
} from './safe-off.js'

export interface MakeSafe {
  readonly off: OffPlan
  readonly configs: readonly LineConfig[]
  readonly places: Readonly<Record<string, PortLine>>
  /** Bench seconds per real second: 1 except on a virtual bench. */
  readonly speed: number
  /** Times told are the bench's own, µs, counted on from here. */
  readonly from_us: number
  /** Read back what is on before anything is told: for what an earlier run left behind. */
  readonly look_first?: boolean
}
/**
 * The same lines with the identities that were learned while the run went on, where the bench file names none: a plug that was moved
 * since leads to an instrument at rest, which would read as off in all innocence.
 */
export function knownBy(
  configs: readonly LineConfig[],
  identities: Readonly<Record<string, string>>,
): readonly LineConfig[] {
  return configs.map((config) => {
    const learned = identities[config.port] ?? ''
    return config.identity !== null || learned === '' ? config : { ...config, identity: learned }
  })
}

export interface MakeSafeHandlers {
  /** Something to keep or to show, with the time it happened, µs. */
  told(output: Extract<SafeOffOutput, { kind: 'record' | 'alarm' }>, t_us: number): void
}

const tick_ms = 20
/** Tries with the lock asked for; then without it: whoever holds the port, the OFF goes out. */
const polite_tries = 3
const try_again_ms = 100

/** Drives the safe-off engine on real ports until it has an answer. It opens what it can, however often it must. */
export function makeSafe(job: MakeSafe, handlers: MakeSafeHandlers): Promise<SafeOffResult> {
  return new Promise((resolve) => {
    const began = process.hrtime.bigint()
    const now_us = (): number =>
      job.from_us + Math.round((Number(process.hrtime.bigint() - began) / 1000) * job.speed)
    const first = safeOffBegin(job.off, job.configs, job.from_us, job.look_first === true)
    let state = first.state
    const tries = new Map<string, number>()

    const feed = (input: SafeOffInput): void => {
      const turn = safeOffStep(state, input)
      state = turn.state
      obey(turn.outputs)
    }
    const obey = (outputs: readonly SafeOffOutput[]): void => {
      for (const output of outputs)
        if (output.kind === 'write') ports.write(output.port, output.text, output.urgent)
      for (const output of outputs) {
        switch (output.kind) {
          case 'write':
            break
          case 'reopen':
            ports.drop(output.port, () => {
              open(output.port)
            })
            break
          case 'record':
          case 'alarm':
            handlers.told(output, now_us())
            break
          case 'end':
            finish(output.result)
            break
        }
      }
    }
    const ports = createPorts(now_us, (port, line) => {
      feed({ kind: 'port', port, line })
      if (line.kind === 'closed')
        setTimeout(() => {
          open(port)
        }, try_again_ms)
    })
    const open = (port: string): void => {
      const place = job.places[port]
      if (place === undefined || ports.has(port)) return
      const tried = (tries.get(port) ?? 0) + 1
      tries.set(port, tried)
      ports.open(port, place, { lock: tried <= polite_tries })
    }
    const finish = (result: SafeOffResult): void => {
      clearInterval(ticking)
      void ports.close().then(() => {
        resolve(result)
      })
    }

    const ticking = setInterval(() => {
      feed({ kind: 'tick', t_us: now_us() })
    }, tick_ms)
    obey(first.outputs)
    for (const port of Object.keys(state.lines)) open(port)
  })
}
