import type { AlertTarget } from '../bench/index.js'
import type { RunEntry } from '../story/index.js'
import {
  type Alert,
  dueBegin,
  type DueInput,
  dueStep,
  silence,
  stillThere,
  type Subject,
  trial,
} from './due.js'
import { type Environment, missingOf, placeOf, resolved } from './places.js'
import { isIdle, type QueueAct, queueBegin, type QueueInput, queueStep } from './queue.js'
import { Refused } from './refused.js'
import { type Message, type Sender, senderOf } from './senders.js'

/**
 * Alerts of one run, in the process that supervises it: a reader of what is told, which no decision waits for. What cannot be
 * sent is told to the screen and the record.
 */
export interface AlertsJob {
  readonly targets: readonly AlertTarget[]
  readonly env: Environment
  readonly of: Subject
  /** The run's clock, µs. */
  readonly now_us: () => number
  /** A failure to alert, for the run's record and for the screen. */
  readonly tell: (text: string, data: Readonly<Record<string, unknown>>) => void
  /** How long the end of a run waits for what is left, ms; a few seconds unless given. */
  readonly last_words_ms?: number
}
export interface Alerts {
  take(entry: RunEntry): void
  /** Sends every place one alert, whatever it takes otherwise; of which it did not arrive, each with the reason. */
  reach(): Promise<readonly string[]>
  /** Something waits, or is under way. */
  waits(): boolean
  /** Waits for what is under way and what waits, no longer than a few seconds; then closes every way. */
  close(): Promise<void>
}

const tick_ms = 250
/** What is left at the end of a run is tried for so long, ms (our choice). Outputs are off by then. */
const last_words_ms = 10_000

export function startAlerts(job: AlertsJob): Alerts {
  return new Running(job)
}

class Running implements Alerts {
  private readonly usable: readonly AlertTarget[]
  private readonly places
  private readonly senders: readonly (Sender | null)[]
  private readonly ticking: NodeJS.Timeout
  private due = dueBegin()
  private queue
  private closed = false
  private watchers: (() => void)[] = []

  constructor(private readonly job: AlertsJob) {
    const { targets, env, of } = job
    this.usable = targets.filter((target) => {
      const missing = missingOf(target, env)
      if (missing.length > 0) {
        const text = `No alerts go to ${placeOf(target).name}: ${missing.join(', ')} is not set in the environment of this program.`
        job.tell(text, { place: placeOf(target).name, missing })
      }
      return missing.length === 0
    })
    this.places = this.usable.map(placeOf)
    this.queue = queueBegin(this.places, now_ms())
    const silent = dated(silence(of))
    this.senders = this.usable.map((target, i) => this.open(target, i, silent))
    this.ticking = setInterval(() => {
      this.hear({ kind: 'time', t_us: job.now_us() })
      this.give({ kind: 'time', still: stillThere(of, this.due) })
    }, tick_ms)
  }

  private open(target: AlertTarget, i: number, silent: Message): Sender | null {
    try {
      return senderOf(resolved(target, this.job.env), silent)
    } catch (error) {
      const name = this.places[i]?.name ?? ''
      this.job.tell(`No alerts go to ${name}: ${errorText(error)}.`, { place: name })
      return null
    }
  }

  waits(): boolean {
    return !isIdle(this.queue)
  }

  take(entry: RunEntry): void {
    this.hear({ kind: 'told', entry })
  }

  private hear(input: DueInput): void {
    const { state, alerts } = dueStep(this.job.of, this.due, input)
    this.due = state
    for (const alert of alerts) this.give({ kind: 'alert', alert })
  }

  private give(input: Untimed<QueueInput>): void {
    if (this.closed) return
    const { state, acts } = queueStep(this.places, this.queue, { ...input, t_ms: now_ms() })
    this.queue = state
    for (const act of acts) this.act(act)
    if (isIdle(state)) for (const watch of this.watchers) watch()
  }

  private act(act: QueueAct): void {
    if (act.do === 'tell') this.job.tell(act.text, act.data)
    else void this.send(act.place, act.alert)
  }

  async reach(): Promise<readonly string[]> {
    const message = dated(trial(this.job.of))
    const lacking = this.job.targets.filter((target) => !this.usable.includes(target))
    const failed = await Promise.all(
      this.places.map(async ({ name }, place) => {
        try {
          await this.deliver(place, message)
          return []
        } catch (error) {
          return [`${name}: ${errorText(error)}`]
        }
      }),
    )
    const troubles = [...lacking.map((target) => `${placeOf(target).name}: not set up`), ...failed.flat()]
    for (const text of troubles) this.job.tell(`The alert on trial did not arrive at ${text}.`, {})
    return troubles
  }

  private async send(place: number, alert: Alert): Promise<void> {
    try {
      await this.deliver(place, dated(alert))
      this.give({ kind: 'sent', place })
    } catch (error) {
      this.give({ kind: 'failed', place, why: errorText(error), hopeless: error instanceof Refused })
    }
  }

  private async deliver(place: number, message: Message): Promise<void> {
    const sender = this.senders[place] ?? null
    const within_s = this.usable[place]?.within_s ?? 10
    const abort = new AbortController()
    let given: NodeJS.Timeout | undefined
    // A way that heeds no signal holds nobody up either.
    const late = new Promise<never>((_, reject) => {
      given = setTimeout(() => {
        const silent = new Error(`nothing came of it within ${within_s} s`)
        abort.abort(silent)
        setImmediate(() => {
          reject(silent)
        })
      }, within_s * 1000)
    })
    try {
      if (sender === null) throw new Refused('there is no way to it')
      await Promise.race([sender.send(message, abort.signal), late])
    } finally {
      clearTimeout(given)
    }
  }

  async close(): Promise<void> {
    if (this.waits())
      await new Promise<void>((resolve) => {
        const given = setTimeout(resolve, this.job.last_words_ms ?? last_words_ms)
        this.watchers.push(() => {
          clearTimeout(given)
          resolve()
        })
      })
    clearInterval(this.ticking)
    this.give({ kind: 'end' })
    this.closed = true
    await Promise.all(this.senders.map((sender) => sender?.close() ?? Promise.resolve()))
  }
}

type Untimed<I> = I extends QueueInput ? Omit<I, 't_ms'> : never

const now_ms = (): number => Math.round(performance.now())
const dated = (alert: Alert): Message => ({ ...alert, at: new Date().toISOString() })
const errorText = (error: unknown): string => (error instanceof Error ? error.message : String(error))
