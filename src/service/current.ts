import type { Supervisor } from '../controller/index.js'
import type { Ask } from '../plan/index.js'
import { Stops, type VirtualHands } from '../session/index.js'

/** What belongs to one start. */
export class Current {
  readonly stops: Stops
  hands: VirtualHands | null = null
  run: Supervisor | null = null
  asked: { readonly prompt: number; readonly ask: Ask } | null = null
  reasonSaid = false
  private settle: (typed: boolean) => void = () => undefined
  /** Acts of before there was a record, written as soon as there is one. */
  private acts: { readonly text: string; readonly data: Readonly<Record<string, unknown>> }[] = []

  constructor(told: (text: string) => void) {
    this.stops = new Stops(told)
    this.stops.givenUp.addEventListener('abort', () => {
      this.settle(false)
    })
  }

  waitForWord(): Promise<boolean> {
    return new Promise((resolve) => {
      this.settle = resolve
    })
  }

  typed(): void {
    this.settle(true)
  }

  give(prompt: number, ask: Ask, value: number | 'yes' | 'no' | 'go on'): void {
    this.hands?.answered(ask, value)
    this.run?.answer(prompt, value, 'page')
  }

  join(run: Supervisor): void {
    this.run = run
    for (const { text, data } of this.acts) run.note('act', text, data)
    this.acts = []
  }

  note(text: string, data: Readonly<Record<string, unknown>>): void {
    if (this.run === null) this.acts.push({ text, data })
    else this.run.note('act', text, data)
  }
}
