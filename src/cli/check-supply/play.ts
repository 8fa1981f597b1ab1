import { channelMessage, type Channel, type Dialect, type Supply } from '../../bench/index.js'
import { fixedPoint, shown } from '../../line/index.js'
import type { Talk } from '../live/talk.js'
import { type Held, objection, wanted } from './expect.js'
import type { Asked, Expected, SentNumber, Step, Told, Transcript } from './transcript.js'

/** One place where a supply does otherwise than its transcript says. */
export interface Difference {
  readonly sent: string
  readonly expected: string
  readonly got: string
  readonly took_ms: number
  readonly means: string
}
export interface Played {
  readonly transcript: string
  readonly shows: string
  /** The output it was played for; null = the whole supply. */
  readonly output: string | null
  readonly answers: number
  readonly slowest_ms: number
  readonly differences: readonly Difference[]
}

/** Plays transcripts against one supply, in the words of its dialect. */
export class Player {
  private identity: string | null

  constructor(
    private readonly talk: Talk,
    private readonly supply: Supply,
    /** True once somebody wants it to end: nothing more is said. */
    private readonly stopped: () => boolean,
  ) {
    this.identity = supply.identity
  }

  async play(transcript: Transcript): Promise<Played[]> {
    const { dead_man } = this.supply.dialect
    const channels = Object.entries(this.supply.channels)
    const [first] = channels
    if (first === undefined) return []
    if (transcript.of === 'supply') return [await this.once(transcript, null, first[1])]
    if (transcript.of === 'dead-man') {
      if (dead_man === null || (transcript.needs === 'feed' && dead_man.feed === null)) return []
      if (dead_man.per === 'supply') return [await this.once(transcript, null, first[1])]
    }
    const played: Played[] = []
    for (const [name, channel] of channels) {
      // Heaters and bias are left unarmed: they must outlast HT.
      const unarmed = channel.role === 'heater' || channel.role === 'bias'
      if (transcript.of === 'dead-man' && unarmed) continue
      played.push(await this.once(transcript, name, channel))
    }
    return played
  }

  /** Every output told OFF and set to its lowest; the names of those that do not read back as off. */
  async setDown(): Promise<readonly string[]> {
    const { dialect, channels } = this.supply
    const open: string[] = []
    for (const [name, channel] of Object.entries(channels)) {
      await this.tell(channel, 'off')
      await this.tell(channel, 'set_volts', 'lowest volts')
      if (!(await this.isOff(channel))) {
        this.talk.say(channelMessage(dialect, channel.number, dialect.off))
        open.push(name)
      }
    }
    return open
  }

  /** Output read back as off, and nothing at its terminals. */
  async isOff(channel: Channel): Promise<boolean> {
    const held = this.held(channel, '')
    for (const [word, expect] of [
      ['ask_output', 'off'],
      ['measure_volts', 'no volts'],
    ] as const) {
      const words = wordsOf(this.supply.dialect, word) ?? ''
      const { text } = await this.question(channel, words, word)
      if (text === null || objection(expect, text, { ...held, words }) !== null) return false
    }
    return true
  }

  private async once(transcript: Transcript, output: string | null, channel: Channel): Promise<Played> {
    const differences: Difference[] = []
    let answers = 0
    let slowest_ms = 0
    for (const step of transcript.steps) {
      if (this.stopped() || this.talk.trouble() !== null) break
      const found = await this.step(step, channel)
      if (found === null) continue
      answers += found.asked
      slowest_ms = Math.max(slowest_ms, found.took_ms)
      if (found.difference !== null) differences.push(found.difference)
    }
    return { transcript: transcript.title, shows: transcript.shows, output, answers, slowest_ms, differences }
  }

  private async step(
    step: Step,
    channel: Channel,
  ): Promise<{ asked: number; took_ms: number; difference: Difference | null } | null> {
    const { dialect } = this.supply
    if ('send' in step) {
      this.talk.say(step.send + dialect.terminator)
      return null
    }
    if ('cut' in step) {
      const words = wordsOf(dialect, step.cut)
      if (words !== null) {
        const whole = messageOf(dialect, channel, step.cut, words)
        this.talk.say(whole.slice(0, Math.floor(whole.length / 2)))
      }
      return null
    }
    if ('tell' in step) {
      await this.tell(channel, step.tell, step.number)
      return null
    }
    if ('dead_man' in step) {
      for (const words of this.deadMan(step.dead_man)) await this.message(this.toTimer(channel, words))
      return null
    }
    if ('wait_of_time' in step) {
      await this.talk.quiet(step.wait_of_time * 1000 * (dialect.dead_man?.after_s ?? 0))
      return null
    }
    if ('quiet_ms' in step) {
      const came = await this.talk.quiet(step.quiet_ms)
      const got = came.map((text) => `"${shown(text)}"`).join(', ')
      const difference = { sent: '', expected: 'nothing', got, took_ms: 0, means: step.means }
      return { asked: 0, took_ms: 0, difference: came.length === 0 ? null : difference }
    }
    return this.asks(step, channel)
  }

  private async asks(
    step: Extract<Step, { expect: Expected }>,
    channel: Channel,
  ): Promise<{ asked: number; took_ms: number; difference: Difference | null } | null> {
    const { dialect } = this.supply
    const own = 'ask' in step
    const words = own ? wordsOf(dialect, step.ask) : (dialect.dead_man?.[step.ask_dead_man] ?? null)
    if (words === null) return null
    const held = this.held(channel, words)
    const last = own ? step.until : undefined
    let asked = 0
    let slowest_ms = 0
    for (;;) {
      const { text, took_ms, sent } = own
        ? await this.question(channel, words, step.ask)
        : await this.put(this.toTimer(channel, words), 0)
      asked += 1
      slowest_ms = Math.max(slowest_ms, took_ms)
      const wrong = text === null ? '' : objection(step.expect, text, held)
      const over = last === undefined || text === null || objection(last, text, held) === null
      if (wrong === null && step.expect === 'identity') this.identity ??= text
      if (wrong === null && !over && own && asked < (step.again ?? 1)) continue
      const means = wrong === null || wrong === '' ? step.means : `${sentence(wrong)} ${step.means}`
      const got = text === null ? `nothing within ${this.supply.reply_s} s` : `"${shown(text)}"`
      const difference = {
        sent,
        expected: wanted(wrong === null && !over ? last : step.expect, held),
        got,
        took_ms,
        means,
      }
      return { asked, took_ms: slowest_ms, difference: wrong === null && over ? null : difference }
    }
  }

  private held(channel: Channel, words: string): Held {
    const { dialect } = this.supply
    const { identity } = this
    return { dialect, channel, words, identity, dead_man_s: dialect.dead_man?.after_s ?? 0 }
  }

  private question(channel: Channel, words: string, word: Asked): ReturnType<Player['put']> {
    const { dialect } = this.supply
    const slow_s = word === 'identify' ? 0 : (dialect.slow_s[word] ?? 0)
    return this.put(messageOf(dialect, channel, word, words), slow_s)
  }

  private async put(
    message: string,
    slow_s: number,
  ): Promise<{ text: string | null; took_ms: number; sent: string }> {
    const { text, took_s } = await this.talk.ask(message, Math.max(this.supply.reply_s, slow_s))
    return { text, took_ms: Math.round(1000 * took_s), sent: message.trim() }
  }

  private async tell(channel: Channel, word: Told, number?: SentNumber): Promise<void> {
    const { dialect } = this.supply
    const words = dialect[word]
    if (words === null || (word.includes('over_volts') && !channel.over_voltage)) return
    const whole = word === 'clear' || word === 'remote'
    const message = whole
      ? words + dialect.terminator
      : channelMessage(dialect, channel.number, words, number === undefined ? '' : numberOf(channel, number))
    await this.message(message)
    const slow_s = whole ? 0 : (dialect.slow_s[word] ?? 0)
    if (slow_s > 0) await this.talk.quiet(1000 * slow_s)
  }

  /** A command; where commands are acknowledged, until that has come. */
  private async message(message: string): Promise<void> {
    if (this.supply.dialect.acknowledges === null) this.talk.say(message)
    else await this.talk.ask(message, this.supply.reply_s, true)
  }

  private deadMan(what: 'arm' | 'feed' | 'disarm'): readonly string[] {
    const { dead_man } = this.supply.dialect
    if (dead_man === null) return []
    if (what === 'feed') return dead_man.feed === null ? [] : [dead_man.feed]
    return (what === 'arm' ? dead_man.arm : (dead_man.disarm ?? [])).map((words) =>
      words.replaceAll('{s}', String(dead_man.after_s)),
    )
  }

  private toTimer(channel: Channel, words: string): string {
    const { dialect } = this.supply
    return dialect.dead_man?.per === 'supply'
      ? words + dialect.terminator
      : channelMessage(dialect, channel.number, words)
  }
}

function wordsOf(dialect: Dialect, word: Asked): string | null {
  const words = dialect[word]
  return typeof words === 'string' || words === null ? words : words.query
}

function messageOf(dialect: Dialect, channel: Channel, word: Asked, words: string): string {
  return word === 'identify' || word === 'error_query'
    ? words + dialect.terminator
    : channelMessage(dialect, channel.number, words)
}

function numberOf(channel: Channel, number: SentNumber): string {
  switch (number) {
    case 'lowest volts':
      return fixedPoint(channel.min_V, channel.set_digits_V) ?? ''
    case 'lowest amps':
      return fixedPoint(channel.min_A, channel.set_digits_A) ?? ''
    case 'highest volts':
      return fixedPoint(channel.max_V, channel.set_digits_V) ?? ''
    case 'nonsense':
      return 'fast'
  }
}

const sentence = (text: string): string =>
  text === '' ? '' : `${text.charAt(0).toUpperCase()}${text.slice(1)}.`
