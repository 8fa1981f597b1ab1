import {
  safeOffBegin,
  type SafeOffInput,
  type SafeOffOutput,
  type SafeOffResult,
  type SafeOffState,
  safeOffStep,
} from '../../src/controller/safe-off.js'
import { knownBy } from '../../src/controller/make-safe.js'
import type { LineConfig } from '../../src/line/index.js'
import type { OffPlan } from '../../src/plan/index.js'

/** What whoever makes safe has of the computer it runs on. */
export interface Hands {
  write(port: string, text: string): void
  /** Opens this port so long from now. */
  open(port: string, after_us: number): void
  reopen(port: string): void
  alarmed(): void
  made(result: SafeOffResult): void
}
/** Opening a port takes this long, as in make-safe.ts. */
const opens_us = 100_000

/** From the off plan and the ports alone: a supervisor that has taken over, or the first act of the next start. */
export class MakingSafe {
  private state: SafeOffState | null = null
  private identities: Readonly<Record<string, string>> = {}

  constructor(
    private readonly off: OffPlan,
    private readonly configs: readonly LineConfig[],
    private readonly hands: Hands,
  ) {}

  get atWork(): boolean {
    return this.state !== null
  }

  /** Who answered on each line: with whoever watches, and in the state of the bench for the next start. */
  knows(identities: Readonly<Record<string, string>>): void {
    this.identities = identities
  }

  begin(t_us: number, look_first: boolean): void {
    const known = knownBy(this.configs, this.identities)
    const { state, outputs } = safeOffBegin(this.off, known, t_us, look_first)
    this.state = state
    this.heed(outputs)
    for (const port of Object.keys(state.lines)) this.hands.open(port, opens_us)
  }

  hear(input: SafeOffInput): void {
    if (this.state === null) return
    const { state, outputs } = safeOffStep(this.state, input)
    this.state = state
    this.heed(outputs)
  }

  /** Its process is gone with its connections. */
  dies(): void {
    this.state = null
  }

  private heed(outputs: readonly SafeOffOutput[]): void {
    for (const output of outputs) {
      switch (output.kind) {
        case 'write':
          this.hands.write(output.port, output.text)
          break
        case 'reopen':
          this.hands.reopen(output.port)
          break
        case 'record':
          break
        case 'alarm':
          this.hands.alarmed()
          break
        case 'end':
          this.hands.made(output.result)
          break
      }
    }
  }
}
