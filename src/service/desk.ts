import { type ChildProcess, fork } from 'node:child_process'
import * as z from 'zod'
import { errorShape, Refused } from './api/index.js'
import type { DeskPlace, DeskQuestions } from './desk-questions.js'

export const deskPlaceShape: z.ZodType<DeskPlace> = z.object({
  folder: z.string(),
  runs: z.string(),
  elsewhere: z.array(z.string()),
})
export const deskQuestionShape = z.object({ id: z.number(), what: z.string(), ask: z.unknown() })
/** Told once: a process that has set itself back may not come forward again. */
export const deskStandsBehindShape = z.object({ behind: z.literal(true) })
const deskAnswerShape = z.union([
  z.object({ id: z.number(), text: z.string() }),
  z.object({
    id: z.number(),
    refused: z.object({
      status: z.literal([400, 401, 403, 404, 409, 413, 422, 429, 500, 503]),
      error: errorShape.shape.error,
    }),
  }),
  z.object({ id: z.number(), fault: z.string() }),
])

type Name = keyof DeskQuestions
type Ask<K extends Name> = Parameters<DeskQuestions[K]>[0]
type Told<K extends Name> = Awaited<ReturnType<DeskQuestions[K]>>

/** Questions that may take long, so that they hold up none of the others: each kind waits in its own line. */
const slow: ReadonlySet<Name> = new Set<Name>([
  ...(['export', 'report', 'replay', 'supplies', 'trend', 'compare'] as const),
  ...(['archive', 'coverage', 'diagnosis', 'photograph', 'setPage', 'seal', 'inForce'] as const),
])
/** More than these waiting in one line are turned away: whoever asks may ask again. */
const most_waiting = 24
const quick_within_ms = 60_000
const slow_within_ms = 600_000

/** The heavy questions, answered by processes of their own in turn. */
export class Desk {
  private readonly quick: Line
  private readonly slow: Line

  constructor(program: URL, place: DeskPlace) {
    const words = JSON.stringify(place)
    this.quick = new Line(program, words, quick_within_ms)
    this.slow = new Line(program, words, slow_within_ms)
  }

  /** The answer as the JSON text that it came as: most of it goes on as it is. */
  ask<K extends Name>(what: K, ask: Ask<K>): Promise<string> {
    return (slow.has(what) ? this.slow : this.quick).ask(what, ask)
  }

  async told<K extends Name>(what: K, ask: Ask<K>): Promise<Told<K>> {
    return JSON.parse(await this.ask(what, ask)) as Told<K>
  }

  get counts() {
    const of = (count: (line: Line) => number): number => count(this.quick) + count(this.slow)
    return {
      waiting: of(({ waiting }) => waiting),
      done: of(({ done }) => done),
      refused: of(({ refused }) => refused),
      restarted: of(({ restarted }) => restarted),
    }
  }

  /** What answers quick questions is ready before the first is asked: a page that opens waits a second less. */
  begin(): void {
    this.quick.begin()
  }

  /** From now on behind a run in line for the processor. */
  standBehind(): void {
    this.quick.standBehind()
    this.slow.standBehind()
  }

  /** The run is over: others take the place of those that stood behind it, as soon as nothing waits for these. */
  comeForward(): void {
    this.quick.comeForward()
    this.slow.comeForward()
    this.quick.begin()
  }

  /** Its processes, as many as have been asked yet. */
  get pids(): readonly number[] {
    return [this.quick.pid, this.slow.pid].filter((pid) => pid !== undefined)
  }

  end(): void {
    this.quick.end()
    this.slow.end()
  }
}

interface Open {
  readonly resolve: (text: string) => void
  readonly reject: (error: Error) => void
  given: NodeJS.Timeout | null
}

class Line {
  done = 0
  refused = 0
  restarted = 0
  private child: ChildProcess | null = null
  private id = 0
  private ended = false
  private behind = false
  private toRenew = false
  private readonly open = new Map<number, Open>()

  constructor(
    private readonly program: URL,
    private readonly place: string,
    private readonly within_ms: number,
  ) {}

  get waiting(): number {
    return this.open.size
  }

  get pid(): number | undefined {
    return this.child?.pid
  }

  ask(what: string, ask: unknown): Promise<string> {
    if (this.open.size >= most_waiting || this.ended) {
      this.refused += 1
      return Promise.reject(
        new Refused(503, 'busy', 'Too many questions are waiting to be answered.', {
          remedy: 'Ask again in a moment. A run under way is not held up by them, and neither is a stop.',
        }),
      )
    }
    const child = (this.child ??= this.start())
    const id = ++this.id
    return new Promise((resolve, reject) => {
      this.open.set(id, { resolve, reject, given: null })
      this.watch()
      child.send({ id, what, ask }, () => undefined)
    })
  }

  begin(): void {
    if (!this.ended) this.child ??= this.start()
  }

  standBehind(): void {
    this.behind = true
    this.toRenew = false
    this.child?.send({ behind: true }, () => undefined)
  }

  comeForward(): void {
    this.behind = false
    this.toRenew = this.child !== null
    this.renew()
  }

  private renew(): void {
    if (!this.toRenew || this.open.size > 0) return
    this.toRenew = false
    const { child } = this
    this.child = null
    if (child?.connected === true) child.disconnect()
  }

  end(): void {
    this.ended = true
    if (this.child?.connected === true) this.child.disconnect()
  }

  /** Only the first in line is being answered: its time runs, the others' does not yet. */
  private watch(): void {
    const [first] = this.open.values()
    if (first === undefined || first.given !== null) return
    first.given = setTimeout(() => {
      // A process that hangs takes the questions behind it along; a new one answers the next.
      this.child?.kill('SIGKILL')
    }, this.within_ms)
  }

  private start(): ChildProcess {
    // In a session of its own, which it can set back as a whole; it ends when we let go of it.
    const child = fork(this.program, [this.place], {
      detached: true,
      stdio: ['ignore', 'ignore', 'inherit', 'ipc'],
    })
    child.on('message', (raw) => {
      const parsed = deskAnswerShape.safeParse(raw)
      const open = parsed.success ? this.open.get(parsed.data.id) : undefined
      if (!parsed.success || open === undefined) return
      this.open.delete(parsed.data.id)
      if (open.given !== null) clearTimeout(open.given)
      this.done += 1
      if ('text' in parsed.data) open.resolve(parsed.data.text)
      else if ('refused' in parsed.data) open.reject(asRefused(parsed.data.refused))
      else open.reject(new Error(parsed.data.fault))
      this.watch()
      this.renew()
    })
    const lost = (): void => {
      if (this.child !== child) return
      this.child = null
      if (!this.ended) this.restarted += 1
      for (const { reject, given } of this.open.values()) {
        if (given !== null) clearTimeout(given)
        reject(
          new Refused(503, 'busy', 'What answers such questions was lost, and is started again.', {
            remedy: 'Ask again. A run under way is not touched by it.',
          }),
        )
      }
      this.open.clear()
    }
    if (this.behind) child.send({ behind: true }, () => undefined)
    child.on('exit', lost)
    child.on('error', lost)
    return child
  }
}

function asRefused({
  status,
  error,
}: {
  readonly status: Refused['status']
  readonly error: Refused['error']
}) {
  const { code, what, remedy, where, problems } = error
  return new Refused(status, code, what, {
    problems,
    ...(remedy !== null && { remedy }),
    ...(where !== null && { where }),
  })
}
