import { connect } from 'node:net'
import { constants, setPriority } from 'node:os'
import { standAside } from '../../../src/service/stand-aside.js'
import type { FromWatched, ToWatched } from './messages.js'

/**
 * Who watches, and one who reviews: `viewers PORT COUNT RUN SECONDS`. They take what comes and look at nothing. They stand for other
 * computers, which take no processor of this one: so they have the lowest priority here, get what is left, and keep off the processor
 * that the service leaves to a run.
 */
setPriority(constants.priority.PRIORITY_LOW)
await standAside(() => [process.pid]).aside
const say = (message: FromWatched): void => {
  process.send?.(message)
}
const [port = '', count = '', run = '', run_s = ''] = process.argv.slice(2)
for (let i = 0; i < Number(count); i++) {
  const socket = connect(Number(port), '127.0.0.1')
  socket.write('GET /events HTTP/1.1\r\nhost: bench\r\n\r\n')
  socket.resume()
  socket.on('error', () => undefined)
}

let resting: Promise<void> | null = null
let goOn: () => void = () => undefined
process.on('message', (message: ToWatched) => {
  if (message.do === 'rest')
    resting ??= new Promise((resolve) => {
      goOn = resolve
    })
  else {
    resting = null
    goOn()
  }
})

/** Window after window of the long run, each asked for when the one before has come. */
async function review(): Promise<void> {
  for (let i = 0; ; i++) {
    const wide_s = Number(run_s) / 2 ** (i % 8)
    const from_s = ((i * 0.37) % 1) * (Number(run_s) - wide_s)
    const asked = await fetch(
      `http://127.0.0.1:${port}/traces?run=${run}&from_s=${from_s}&to_s=${from_s + wide_s}`,
    )
    await asked.arrayBuffer()
    if (i === 0) say({ kind: 'watching' })
    if (resting === null) continue
    say({ kind: 'resting' })
    await resting
  }
}
process.on('disconnect', () => process.exit(0))
await review()
