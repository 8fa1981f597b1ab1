import type { ServerResponse } from 'node:http'
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

interface Viewer {
  readonly raw: ServerResponse
  readonly here: boolean
  readonly browser: string | null
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
    raw.write(`retry: 500\n\n${frame('snapshot', first)}`)
  }

  send<K extends EventName>(name: K, data: EventData<K>): void {
    if (this.viewers.size === 0) return
    const text = frame(name, data)
    for (const viewer of this.viewers) this.give(viewer, name, text)
  }

  /** The same to everybody, but with what only the bench may know for its own pages. */
  sendBoth(name: 'snapshot', here: EventData<'snapshot'>, away: EventData<'snapshot'>): void {
    const [ours, theirs] = [frame(name, here), frame(name, away)]
    for (const viewer of this.viewers) this.give(viewer, name, viewer.here ? ours : theirs)
  }

  end(why: string): void {
    clearInterval(this.beating)
    for (const viewer of this.viewers) this.letGo(viewer, why)
  }

  private give(viewer: Viewer, name: EventName, text: string): void {
    const { raw } = viewer
    const behind = raw.writableLength
    if (behind > drop_bytes) {
      this.dropped += 1
      this.viewers.delete(viewer)
      raw.destroy()
      return
    }
    if (behind > skip_bytes && (name === 'view' || name === 'beat' || name === 'line')) {
      this.skipped += 1
      return
    }
    raw.write(text)
  }

  private letGo(viewer: Viewer, why: string): void {
    this.viewers.delete(viewer)
    viewer.raw.end(frame('bye', { now_ms: this.beat().now_ms, why }))
  }
}

/** One line of data: JSON has no line ends of its own. */
const frame = <K extends EventName>(name: K, data: EventData<K>): string =>
  `event: ${name}\ndata: ${JSON.stringify(data)}\n\n`
