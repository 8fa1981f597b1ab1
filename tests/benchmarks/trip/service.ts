import { createServer } from 'node:http'
import type { AddressInfo } from 'node:net'
import { resolve } from 'node:path'
import { pathToFileURL } from 'node:url'
import { Desk } from '../../../src/service/desk.js'
import { standAside } from '../../../src/service/stand-aside.js'
import { beginStream, Streams } from '../../../src/service/streams.js'
import { liveView, running, views } from '../../browser/small-run.js'
import type { FromWatched, ToWatched } from './messages.js'

/**
 * What a service does beside a run, with its own parts: views to everyone who watches, twenty a second, and questions of review
 * handed to the process that answers them. `service RUNS`: folder of the runs that are reviewed.
 */
const [runs = ''] = process.argv.slice(2)
const say = (message: FromWatched): void => {
  process.send?.(message)
}
const now_ms = (): number => Math.round(performance.now())
const desk = new Desk(pathToFileURL(resolve('dist/cli/desk/desk.process.js')), {
  folder: resolve('profiles'),
  runs,
  elsewhere: [],
})
const streams: Streams = new Streams(() => ({
  now_ms: now_ms(),
  phase: 'running',
  viewers: streams.count,
}))
const [shown] = views.filter(({ phase }) => phase === 'running').slice(-1)
if (shown === undefined) throw new Error('The small run never ran.')
const server = createServer((request, response) => {
  const { pathname, searchParams } = new URL(request.url ?? '/', 'http://bench')
  if (pathname === '/events') {
    beginStream(response)
    streams.add(
      { raw: response, here: false, word: false, browser: null },
      { ...running(shown, now_ms()), now_ms: now_ms() },
    )
    return
  }
  const [from_s, to_s] = [Number(searchParams.get('from_s')), Number(searchParams.get('to_s'))]
  void desk
    .ask('traces', { run: searchParams.get('run') ?? '', width: 1200, from_s, to_s, unit: 'A' })
    .then((text) => response.end(text))
    // Asked as the measurement ended: the run is gone already, and so is who asked.
    .catch(() => response.destroy())
})
// As beside every run, before its desk is asked for the first time.
await standAside(() => [process.pid]).aside
desk.standBehind()
server.listen(0, '127.0.0.1', () => {
  say({ kind: 'serving', port: (server.address() as AddressInfo).port })
})
let resting = false
setInterval(() => {
  if (resting) return
  streams.send('view', { now_ms: now_ms(), view: liveView(shown, now_ms()) })
}, 50)
process.on('message', (message: ToWatched) => {
  resting = message.do === 'rest'
  if (resting) say({ kind: 'resting' })
})
process.on('disconnect', () => {
  desk.end()
  process.exit(0)
})
