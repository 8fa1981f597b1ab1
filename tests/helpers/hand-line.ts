import type { LineEvent, LineRequestBody, Rung } from '../../src/exchange/index.js'
import {
  healthOf,
  lineStep,
  lineWakeAt,
  openLine,
  type LineConfig,
  type LineInput,
  type LineOutput,
  type LineState,
} from '../../src/line/index.js'

type Untimed<I = LineInput> = I extends LineInput ? Omit<I, 't_us'> : never

/** What a supply that does as it is told answers to the question in flight; null = nothing is asked. */
export function rightAnswer({ config, flight }: LineState): string | null {
  if (flight === null) return null
  if (flight.move.kind === 'tell') return config.dialect.acknowledges
  const { want } = flight.move
  switch (want.is) {
    case 'identity':
      return config.identity
    case 'setting':
      return want.sent.toFixed(4)
    case 'output':
      return want.on === true ? '1' : '0'
    case 'guard':
      return '1'
    case 'errors':
      return '0,"No error"'
    case 'reading':
    case 'meter':
      return '0.25'
    case 'armed':
      return want.armed ? '1' : '0'
    case 'dead-man time':
      return String(want.sent_s)
    case 'regulation':
    case 'tripped':
    case 'acknowledgement':
    case 'anything':
      return '0'
  }
}

/** One line whose replies a test says itself. Its clock goes from one thing the line waits for to the next, and nowhere else. */
export class HandLine {
  t_us = 0
  state: LineState
  readonly outputs: { readonly t_us: number; readonly output: LineOutput }[] = []
  private id = 0

  constructor(
    config: LineConfig,
    /** What is answered otherwise: the text, null for nothing, undefined for the right answer. */
    public answer: (state: LineState, asked: string) => string | null | undefined = () => undefined,
  ) {
    this.state = openLine(config)
  }

  give(input: Untimed): this {
    const { state, outputs } = lineStep(this.state, { ...input, t_us: this.t_us })
    this.state = state
    for (const output of outputs) this.outputs.push({ t_us: this.t_us, output })
    return this
  }

  /** Each a millisecond after the one before. */
  says(...texts: readonly string[]): this {
    for (const text of texts) {
      this.t_us += 1000
      this.give({ kind: 'text', text })
    }
    return this
  }

  /** Lets this much time pass, with nobody answering. */
  pass(for_us: number): this {
    const end_us = this.t_us + for_us
    for (let n = 0; n < 10_000; n++) {
      const at_us = lineWakeAt(this.state)
      if (at_us === null || at_us > end_us) break
      this.t_us = at_us
      this.give({ kind: 'time' })
    }
    this.t_us = end_us
    return this.give({ kind: 'time' })
  }

  /** Answers, 10 ms after each question, until `until` holds. */
  until(what: string, until: () => boolean): this {
    for (let n = 0; n < 3000; n++) {
      if (until()) return this
      const { flight } = this.state
      const other = flight === null ? null : this.answer(this.state, flight.move.text.trim())
      const text = other === undefined ? rightAnswer(this.state) : other
      if (text !== null) {
        this.t_us += 10_000
        this.give({ kind: 'text', text })
        continue
      }
      const at_us = lineWakeAt(this.state)
      if (at_us === null) break
      this.t_us = at_us
      this.give({ kind: 'time' })
    }
    throw new Error(`It never came to this: ${what}.`)
  }

  open(): this {
    return this.give({ kind: 'opened' }).until('ready', () => this.state.link === 'ready')
  }

  /** Until a question or an acknowledged command with these words is under way. */
  asked(words: string): this {
    return this.until(words, () => this.state.flight?.move.text.includes(words) === true)
  }

  request(channel: string, body: LineRequestBody): number {
    this.id += 1
    this.give({ ...body, kind: 'request', id: this.id, channel })
    return this.id
  }

  /** What came of a request so far. */
  came(id: number): Extract<LineEvent, { kind: 'done' | 'failed' }> | undefined {
    return [...this.kinds('done'), ...this.kinds('failed')].find((event) => event.id === id)
  }

  /** A request, and what comes of it. */
  ask(channel: string, body: LineRequestBody): ReturnType<HandLine['came']> {
    const id = this.request(channel, body)
    this.until(`an outcome of ${body.do}`, () => this.came(id) !== undefined)
    return this.came(id)
  }

  kinds<K extends LineEvent['kind']>(kind: K): Extract<LineEvent, { kind: K }>[] {
    return this.outputs.flatMap(({ output }) =>
      output.kind === 'event' && output.event.kind === kind
        ? [output.event as Extract<LineEvent, { kind: K }>]
        : [],
    )
  }

  /** What was written with these words, and when. */
  written(words = ''): readonly { readonly t_us: number; readonly text: string }[] {
    return this.outputs.flatMap(({ t_us, output }) =>
      output.kind === 'write' && output.text.includes(words) ? [{ t_us, text: output.text }] : [],
    )
  }

  /** Rungs of the ladder of recovery as they were told. */
  rungs(): readonly (readonly [Rung, string])[] {
    return this.outputs.flatMap(({ output }) =>
      output.kind === 'rung' ? [[output.rung, output.text] as const] : [],
    )
  }

  get faults(): ReturnType<typeof healthOf>['faults'] {
    return healthOf(this.state).faults
  }

  /** Forgets what was put out so far. */
  afresh(): this {
    this.outputs.length = 0
    return this
  }
}
