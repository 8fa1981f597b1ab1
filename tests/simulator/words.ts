import type { Dialect } from '../../src/bench/index.js'

/** What one message to an output says, by the words of its dialect alone. */
export type Said =
  | { readonly says: 'set' | 'limit' | 'level'; readonly value: number }
  | { readonly says: 'on' }
  | { readonly says: 'off' }
  | { readonly asks: 'set' | 'limit' | 'level' | 'volts' | 'amps' }
  /** Anything else. */
  | null

/** Reads what goes out over one line, without anything of the program that writes it. */
export class Words {
  private readonly known: ReadonlyMap<string, Said>
  private readonly settings: readonly { readonly says: 'set' | 'limit' | 'level'; readonly before: string }[]

  constructor(private readonly dialect: Dialect) {
    const { set_volts, set_amps, set_over_volts } = dialect
    this.settings = (
      [
        ['set', set_volts],
        ['limit', set_amps],
        ['level', set_over_volts],
      ] as const
    ).flatMap(([says, words]) => (words === null ? [] : [{ says, before: words.replace(/\{[va]\}/, '') }]))
    const questions = [
      ['set', dialect.ask_set_volts],
      ['limit', dialect.ask_set_amps],
      ['level', dialect.ask_over_volts],
      ['volts', dialect.measure_volts],
      ['amps', dialect.measure_amps],
    ] as const
    this.known = new Map<string, Said>([
      [dialect.on, { says: 'on' }],
      [dialect.off, { says: 'off' }],
      ...questions.flatMap(([asks, words]): [string, Said][] => (words === null ? [] : [[words, { asks }]])),
    ])
  }

  /** Each message in a piece of text, with the number of the channel that it is for. */
  read(text: string, channels: readonly number[]): { readonly number: number; readonly said: Said }[] {
    return text.split(this.dialect.terminator).flatMap((message) => {
      for (const number of channels) {
        const chooses = this.dialect.select?.replaceAll('{n}', String(number)) ?? ''
        if (message.startsWith(chooses) && message.length > chooses.length)
          return [{ number, said: this.one(message.slice(chooses.length)) }]
      }
      return []
    })
  }

  private one(words: string): Said {
    const known = this.known.get(words)
    if (known !== undefined) return known
    for (const { says, before } of this.settings)
      if (words.startsWith(before) && /^\d+(\.\d+)?$/.test(words.slice(before.length)))
        return { says, value: Number(words.slice(before.length)) }
    return null
  }
}
