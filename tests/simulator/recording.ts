import {
  type KeepInput,
  type KeepOutput,
  keepBegin,
  keepStep,
  type KeepState,
} from '../../src/record/keep.js'
import type { FromRecorder, ToRecorder } from '../../src/record/messages.js'
import type { RunEntry } from '../../src/story/index.js'
import type { Mischief } from './nemesis.js'

/** As the recorder process and its clients have it (record/client.ts, recorder.process.ts, writer.ts). */
const message_us = 100
const recorderTick_us = 100_000
const linger_us = 5_000_000
const syncEvery_us = 1_000_000
const silent_us = 10_000_000
/** A commit with its fsync, where nothing is wrong (a disk of today; the writer's own measurements). */
const synced_us = 800

const isPlenty = ({ entry }: RunEntry): boolean => entry === 'reading' || entry === 'tick'
const isDurable = (entry: RunEntry): boolean =>
  entry.entry === 'event' ? entry.event.durable : !isPlenty(entry)
const intentsOf = (entries: readonly RunEntry[]): number[] =>
  entries.flatMap((entry) =>
    entry.entry === 'event' && entry.event.durable && entry.event.intent !== null ? [entry.event.intent] : [],
  )

/** One who tells the recorder things: what it told, and what it knows to be kept. */
export class Teller {
  readonly told: RunEntry[] = []
  /** How many of `told` were sent, by batch; the index is the batch's number less one. */
  readonly batches: { readonly upto: number; readonly sent_us: number }[] = []
  /** Entries up to here are acknowledged. */
  acknowledged = 0
  confirmed = 0
  readonly intents = new Set<number>()
  troubled = false
  /** Its process is no more, or it has said goodbye. */
  gone = false
  leaving = false

  constructor(
    readonly name: 'controller' | 'supervisor',
    readonly hears: {
      recorded(intent: number): void
      trouble(text: string): void
    },
  ) {}

  get sent(): number {
    return this.batches.at(-1)?.upto ?? 0
  }
}

interface Commit {
  readonly end_us: number
  readonly entries: readonly RunEntry[]
}

/**
 * The recorder beside a simulated run: every decision is the real `keepStep`; around it stand a disk that fills, slows and
 * stalls, and a process that hangs or dies. A cut of the power leaves the commit under way whole or not at all, as SQLite promises; a file
 * that is torn all the same is tried on real ones (tests/unit/record-damage.test.ts). What two clients told, what was acknowledged to them and what lies in the file is
 * compared at the end.
 */
export class Recording {
  private keep: KeepState = keepBegin(0)
  private queue: { readonly at_us: number; readonly act: () => void }[] = []
  /** When the first of them is due. */
  private first_us = Infinity
  private now_us = 0
  /** The recorder is one thread: until then it stands in its disk. */
  private free_us = 0
  private inbox: { readonly from: Teller; readonly message: ToRecorder | { readonly kind: 'gone' } }[] = []
  private waiting: RunEntry[] = []
  private lastCommit_us = 0
  private readonly commits: Commit[] = []
  private readonly fallback: RunEntry[] = []
  private full = false
  private died_us = Infinity
  /** A commit that the power was cut in had reached the disk. */
  private in_doubt_stays = false
  private hung_until_us = 0
  private stall_us = 0
  private ticked_us = 0
  private finished = false
  private readonly tellers: Teller[] = []

  constructor(private readonly nemesis: Mischief) {}

  join(teller: Teller): Teller {
    this.tellers.push(teller)
    this.send(teller, { kind: 'hello', from: teller.name })
    return teller
  }

  /** As the client does: what happened goes at once, readings are gathered. */
  append(teller: Teller, entries: readonly RunEntry[], t_us: number): void {
    if (teller.gone || teller.leaving) return
    this.now_us = Math.max(this.now_us, t_us)
    teller.told.push(...entries)
    if (!entries.every(isPlenty)) this.sendGathered(teller)
  }

  /** Its last words are sent, then it waits to be let go. */
  close(teller: Teller): void {
    if (teller.gone || teller.leaving) return
    this.sendGathered(teller)
    teller.leaving = true
    this.send(teller, { kind: 'close' })
  }

  /** Its process died: what was not sent is lost with it. */
  dies(teller: Teller, t_us: number): void {
    if (teller.gone || teller.leaving) return
    this.now_us = Math.max(this.now_us, t_us)
    teller.gone = true
    this.later(message_us, () => {
      this.receive(teller, { kind: 'gone' })
    })
  }

  kill(t_us: number): void {
    if (this.isDead(t_us)) return
    this.died_us = t_us
    for (const teller of this.tellers)
      this.later(message_us, () => {
        this.trouble(teller, 'The recorder is lost (it closed the connection).')
      })
  }
  hang(for_us: number): void {
    this.hung_until_us = Math.max(this.hung_until_us, this.now_us) + for_us
  }
  /** The next commit does not come back for so long. */
  stall(for_us: number): void {
    this.stall_us = for_us
  }
  /** The computer is off: what was not fsynced is gone, and nobody hears anything any more. */
  powerCut(t_us: number): void {
    if (!this.isDead(t_us)) {
      this.died_us = t_us
      this.in_doubt_stays = this.nemesis.dice('commit in doubt') < 0.5
    }
    for (const teller of this.tellers) teller.gone = true
  }
  /** Everything stood still: what was due comes later. */
  slept(for_us: number): void {
    this.queue = this.queue.map(({ at_us, act }) => ({ at_us: at_us + for_us, act }))
    this.first_us += for_us
  }

  next_us(): number {
    return this.first_us
  }

  run(t_us: number): void {
    while (this.first_us <= t_us) {
      const at = this.queue.findIndex(({ at_us }) => at_us === this.first_us)
      const [next] = this.queue.splice(at, 1)
      if (next === undefined) break
      this.first_us = Infinity
      for (const { at_us } of this.queue) if (at_us < this.first_us) this.first_us = at_us
      this.now_us = Math.max(this.now_us, next.at_us)
      next.act()
    }
    this.now_us = Math.max(this.now_us, t_us)
  }
  private when(at_us: number, act: () => void): void {
    this.queue.push({ at_us, act })
    if (at_us < this.first_us) this.first_us = at_us
  }

  /** Called with the controller's tick. */
  tick(t_us: number): void {
    this.run(t_us)
    for (const teller of this.tellers) {
      if (teller.gone) continue
      this.sendGathered(teller)
      const oldest = teller.batches[teller.confirmed]
      if (oldest !== undefined && t_us - oldest.sent_us > silent_us && !teller.leaving)
        this.trouble(teller, 'The recorder has not confirmed for 10 s; its disk may be stalled.')
    }
    if (t_us - this.ticked_us < recorderTick_us || this.isDead(t_us) || t_us < this.standsUntil()) return
    this.ticked_us = t_us
    this.step({ kind: 'tick', now_us: t_us })
    if (this.waiting.length > 0 && this.keep.failed === null && t_us - this.lastCommit_us >= syncEvery_us)
      this.commit()
  }

  /** After the run: whoever is still there says goodbye, and the recorder comes to its end. */
  finish(from_us: number): void {
    for (const teller of this.tellers) this.close(teller)
    for (let t_us = from_us; t_us < from_us + 120_000_000 && !this.finished; t_us += recorderTick_us) {
      if (this.isDead(t_us)) return
      this.tick(t_us)
    }
  }

  /** What must hold of the record, whatever happened to it. */
  check(broke: (invariant: string, text: string) => void): void {
    const file = this.file()
    const kept = new Set(file)
    for (const teller of this.tellers) {
      const index = new Map(teller.told.map((entry, i) => [entry, i] as const))
      let expected = 0
      for (const entry of [...file, ...this.fallback]) {
        const i = index.get(entry)
        if (i === undefined) continue
        if (i !== expected) {
          broke(
            'the record holds what was told, each once and in order',
            `${teller.name}: entry ${i} where ${expected} was due`,
          )
          break
        }
        expected++
      }
      const must = teller.told.slice(0, teller.acknowledged)
      const lost = must.filter((entry) => !kept.has(entry))
      if (lost.length > 0)
        broke(
          'no acknowledged entry is lost',
          `${teller.name}: ${lost.length} of ${teller.acknowledged}, the first: ${JSON.stringify(lost[0]).slice(0, 200)}`,
        )
      const intents = new Set(intentsOf(file))
      for (const intent of teller.intents)
        if (!intents.has(intent)) broke('no acknowledged entry is lost', `intent ${intent}`)
    }
    if (!this.finished && this.died_us === Infinity)
      broke('the recorder finishes its file', 'it was still there two minutes after the run')
  }

  /** What another would read in the file now. */
  private file(): RunEntry[] {
    // A transaction is there whole or not at all. Its fsync has come back before it counts as done, so it outlives a cut of the power;
    // the one under way then may have reached the disk, though nobody was told so.
    const done = this.commits.filter(({ end_us }) => end_us <= this.died_us)
    const in_doubt = this.in_doubt_stays ? this.commits.slice(done.length, done.length + 1) : []
    return [...done, ...in_doubt].flatMap(({ entries }) => entries)
  }

  private isFailed(): boolean {
    return this.keep.failed !== null
  }
  private isDead(t_us: number): boolean {
    return t_us >= this.died_us
  }
  private standsUntil(): number {
    return Math.max(this.free_us, this.hung_until_us)
  }

  private later(after_us: number, act: () => void): void {
    this.when(this.now_us + after_us, act)
  }

  private sendGathered(teller: Teller): void {
    const upto = teller.told.length
    const from = teller.sent
    if (upto === from || teller.gone || teller.leaving) return
    teller.batches.push({ upto, sent_us: this.now_us })
    this.send(teller, {
      kind: 'entries',
      seq: teller.batches.length,
      entries: teller.told.slice(from, upto),
    })
  }

  private send(from: Teller, message: ToRecorder): void {
    if (this.nemesis.hits('record port closes', this.now_us, message.kind)) this.kill(this.now_us)
    this.later(message_us, () => {
      this.receive(from, message)
    })
  }

  private receive(from: Teller, message: ToRecorder | { readonly kind: 'gone' }): void {
    if (this.isDead(this.now_us) || this.finished) return
    this.inbox.push({ from, message })
    if (this.inbox.length === 1) this.pump()
  }

  /** One message after another, none while it stands in its disk or hangs. */
  private pump(): void {
    if (this.isDead(this.now_us) || this.finished) return
    const wait_us = this.standsUntil() - this.now_us
    if (wait_us > 0) {
      this.later(wait_us, () => {
        this.pump()
      })
      return
    }
    const next = this.inbox[0]
    if (next === undefined) return
    const { from, message } = next
    const client = String(this.tellers.indexOf(from))
    this.step({ ...message, client, now_us: this.now_us })
    this.inbox.shift()
    if (this.inbox.length > 0) this.pump()
  }

  private step(input: KeepInput): void {
    const { state, outputs } = keepStep(this.keep, input, linger_us)
    this.keep = state
    for (const output of outputs) this.act(output)
  }

  private act(output: KeepOutput): void {
    switch (output.do) {
      case 'append': {
        this.waiting.push(...output.entries)
        const due = this.now_us - this.lastCommit_us >= syncEvery_us
        if (due || output.entries.some(isDurable)) this.commit()
        return
      }
      case 'commit':
        if (this.isFailed()) return
        if (this.waiting.length > 0) this.commit()
        if (!this.isFailed()) this.step({ kind: 'committed', now_us: this.at() })
        return
      case 'divert':
        if (output.entries.length > 0) this.fallback.push(...output.entries)
        else {
          this.fallback.push(...this.waiting)
          this.waiting = []
        }
        return
      case 'send': {
        const teller = this.tellers[Number(output.client)]
        const { message } = output
        if (teller === undefined) return
        const at_us = this.at()
        this.when(at_us + message_us, () => {
          if (at_us <= this.died_us) this.hear(teller, message)
        })
        return
      }
      case 'finish':
        if (this.keep.failed === null && this.waiting.length > 0) this.commit()
        this.finished = true
        return
    }
  }

  /** The recorder's own moment: it may have stood in its disk since it began. */
  private at(): number {
    return Math.max(this.now_us, this.free_us)
  }

  private commit(): void {
    if (this.full || this.nemesis.hits('disk full', this.now_us, `commit ${this.commits.length + 1}`)) {
      this.full = true
      this.step({ kind: 'failed', text: 'The disk is full.', now_us: this.at() })
      return
    }
    const intents = intentsOf(this.waiting)
    const late_us =
      intents.length > 0 && this.nemesis.hits('record late', this.now_us, `intent ${intents.join(', ')}`)
        ? this.nemesis.between('record', 100_000, 20_000_000)
        : 0
    const slow_us = this.nemesis.hits('disk slow', this.now_us, `commit ${this.commits.length + 1}`)
      ? this.nemesis.between('slow disk', 20_000, 3_000_000)
      : 0
    this.free_us = this.at() + synced_us + late_us + slow_us + this.stall_us
    this.stall_us = 0
    this.commits.push({ end_us: this.free_us, entries: this.waiting })
    this.waiting = []
    this.lastCommit_us = this.free_us
  }

  private hear(teller: Teller, message: FromRecorder): void {
    if (teller.gone) return
    switch (message.kind) {
      case 'recorded':
        teller.intents.add(message.intent)
        teller.hears.recorded(message.intent)
        return
      case 'confirmed':
        teller.confirmed = Math.max(teller.confirmed, message.seq)
        teller.acknowledged = teller.batches[message.seq - 1]?.upto ?? teller.acknowledged
        return
      case 'trouble':
        this.trouble(teller, message.text)
        return
      case 'closed':
        teller.gone = true
        return
    }
  }

  private trouble(teller: Teller, text: string): void {
    if (teller.troubled || teller.gone || teller.leaving) return
    teller.troubled = true
    teller.hears.trouble(text)
  }
}
