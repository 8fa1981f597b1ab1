import { performance } from 'node:perf_hooks'
import type { OutgoingHttpHeaders, ServerResponse } from 'node:http'
import type { EventData, EventName } from './api/index.js'

/** Without one for a second a page shows all it has as stale. */
const beat_ms = 250
/** A reader this far behind gets no more figures until it has caught up: newer ones follow. */
const skip_bytes = 64_000
/** And this far behind, it is let go: it connects again and gets everything anew. */
const drop_bytes = 1_000_000
/** Streams of other machines, and of this one: they cannot crowd the bench's own page out. */
const most_away = 200
const most_here = 56
/** Tabs of one browser share its few connections, and a stop needs one: the oldest is let go. */
const most_of_browser = 3
/** Figures come twenty times a second and are looked at less often; what came in so long goes out as one, since each sending has its price here and in every page. */
const gather_ms = 200
/** Figures go to so many at a time, and a little later to the next: a crowd is never one long burst beside a controller that wakes. */
const at_a_time = 16
const apart_ms = 10
const canWait: readonly EventName[] = ['view', 'line', 'beat']

export interface Viewer {
  readonly raw: Pick<ServerResponse, 'write' | 'on' | 'end' | 'destroy' | 'writableLength' | 'socket'>
  readonly here: boolean
  /** It is shown the word of the cautions. */
  readonly word: boolean
  readonly browser: string | null
}

/**
 * Begins the answer that is a stream. It lasts as long as its connection, so no chunk is put round what is written: each sending is
 * then the same bytes for all, and one plain write a viewer.
 */
export function beginStream(raw: ServerResponse, headers: OutgoingHttpHeaders = {}): void {
  raw.useChunkedEncodingByDefault = false
  raw.writeHead(200, {
    ...headers,
    'content-type': 'text/event-stream; charset=utf-8',
    'cache-control': 'no-store',
    'x-accel-buffering': 'no',
  })
}

/** Everybody who watches. What they get are copies; whoever does not keep up loses some and is counted. */
export class Streams {
  refused = 0
  dropped = 0
  skipped = 0
  /** When somebody was last known to watch, on the service's clock: a stream alone may lead to nobody. */
  watched_ms = 0
  private readonly viewers = new Set<Viewer>()
  private readonly beating: NodeJS.Timeout
  private gathered: Buffer[] = []
  private gathering: NodeJS.Timeout | undefined
  private sent_ms = -Infinity
  /** What is on its way from viewer to viewer, how many frames that is, and who does not have it yet. */
  private wave: { readonly text: Buffer; readonly frames: number; readonly due: Viewer[] } | null = null
  private rolling: NodeJS.Timeout | undefined

  constructor(private readonly beat: () => EventData<'beat'>) {
    this.beating = setInterval(() => {
      this.send('beat', this.beat())
    }, beat_ms)
    this.beating.unref()
  }

  watched(): void {
    this.watched_ms = this.beat().now_ms
  }

  get count(): number {
    return this.viewers.size
  }

  readonly most = most_away + most_here

  hasRoom(here: boolean): boolean {
    let count = 0
    for (const viewer of this.viewers) if (viewer.here === here) count += 1
    if (count < (here ? most_here : most_away)) return true
    this.refused += 1
    return false
  }

  /** The first thing sent is `first`, whole. */
  add(viewer: Viewer, first: EventData<'snapshot'>): void {
    const { raw, browser } = viewer
    // What was gathered is older than what comes first.
    this.flush()
    if (browser !== null) {
      const others = [...this.viewers].filter((each) => each.browser === browser)
      for (const other of others.slice(0, Math.max(0, others.length + 1 - most_of_browser)))
        this.letGo(other, 'More pages of this browser were opened after this one.')
    }
    this.viewers.add(viewer)
    const gone = (): void => {
      this.viewers.delete(viewer)
    }
    raw.on('close', gone)
    raw.on('error', gone)
    this.watched()
    raw.write(Buffer.concat([retry, frame('snapshot', first)]))
  }

  /** What happened goes out at once, after all that came before it; figures with what else comes in a moment. */
  send<K extends EventName>(name: K, data: EventData<K>): void {
    if (this.viewers.size === 0) return
    const text = frame(name, data)
    if (canWait.includes(name)) {
      this.gathered.push(text)
      this.gathering ??= setTimeout(
        () => {
          this.roll()
        },
        Math.max(0, this.sent_ms + gather_ms - performance.now()),
      ).unref()
      return
    }
    this.flush()
    for (const viewer of this.viewers) this.give(viewer, text)
  }

  /** The same to everybody, but with the word only where it is typed. */
  sendBoth(name: 'snapshot', with_word: EventData<'snapshot'>, without: EventData<'snapshot'>): void {
    const [ours, theirs] = [frame(name, with_word), frame(name, without)]
    this.flush()
    for (const viewer of this.viewers) this.give(viewer, viewer.word ? ours : theirs)
  }

  end(why: string): void {
    clearInterval(this.beating)
    this.flush()
    for (const viewer of this.viewers) this.letGo(viewer, why)
  }

  /** What was gathered begins its way from viewer to viewer. */
  private roll(): void {
    this.pass(Infinity)
    clearTimeout(this.gathering)
    this.gathering = undefined
    const frames = this.gathered.length
    if (frames === 0) return
    this.wave = { text: Buffer.concat(this.gathered), frames, due: [...this.viewers] }
    this.gathered = []
    this.sent_ms = performance.now()
    this.pass(at_a_time)
  }

  /** The next so many get what is on its way. */
  private pass(most: number): void {
    clearTimeout(this.rolling)
    if (this.wave === null) return
    const { text, frames, due } = this.wave
    for (const viewer of due.splice(0, most)) {
      if (!this.viewers.has(viewer)) continue
      if (viewer.raw.writableLength > skip_bytes) this.skipped += frames
      else this.give(viewer, text)
    }
    if (due.length === 0) this.wave = null
    else
      this.rolling = setTimeout(() => {
        this.pass(at_a_time)
      }, apart_ms).unref()
  }

  /** All of it to everybody, now. */
  private flush(): void {
    this.roll()
    this.pass(Infinity)
  }

  private give(viewer: Viewer, text: Buffer): void {
    const { raw } = viewer
    if (raw.writableLength > drop_bytes) {
      this.dropped += 1
      this.viewers.delete(viewer)
      raw.destroy()
      return
    }
    // Past the response, which has no more to add and puts each write off to the end of the turn, one by one.
    const way = raw.socket ?? raw
    way.write(text)
  }

  private letGo(viewer: Viewer, why: string): void {
    this.viewers.delete(viewer)
    viewer.raw.end(frame('bye', { now_ms: this.beat().now_ms, why }))
  }
}

const retry = Buffer.from('retry: 500\n\n')
/** One line of data: JSON has no line ends of its own. Made once, however many get it. */
const frame = <K extends EventName>(name: K, data: EventData<K>): Buffer =>
  Buffer.from(`event: ${name}\ndata: ${JSON.stringify(data)}\n\n`)
