import { chance } from '../../../src/chance/index.js'
import { createSupplyDevice } from '../../../src/virtual/supplies.js'
import { faceOf, settle } from '../../helpers/line-world.js'
import { openPty, type Pty } from '../../helpers/pty.js'
import { type FromFarEnd, offending, type Side, type ToWholeFarEnd } from './messages.js'
import { loads, ports, speed, supplies } from './whole.js'

/**
 * The far end of whole runs, a process of its own that alone holds the clock of the figures: virtual supplies into resistors on
 * the lines of the runs, and the one line of the yardstick, tripped once after each run.
 */
const say = (message: FromFarEnd): void => {
  process.send?.(message)
}
const us: Record<Side, number[]> = { controller: [], bare: [] }
const now_us = (): number => Math.round(performance.now() * 1000 * speed)

/** From the offending reply handed to the line to the next OFF read from it. */
let tripped: { readonly side: Side; readonly from: bigint; readonly done: () => void } | null = null
const offend = (side: Side, pty: Pty): Promise<void> =>
  new Promise((done) => {
    tripped = { side, from: process.hrtime.bigint(), done }
    pty.write(`${offending}\n`)
  })
function heardOff(side: Side): void {
  if (tripped?.side !== side) return
  us[side].push(Number(process.hrtime.bigint() - tripped.from) / 1000)
  const { done } = tripped
  tripped = null
  done()
}

/** The next question for HT's amps is answered by the current that must end the run. */
let armed = false
const stops: (() => void)[] = []

async function supplyOn(port: string): Promise<string> {
  const supply = supplies[port]
  if (supply === undefined) throw new Error(`no supply ${port}`)
  const pty = await openPty()
  const outputs = Object.fromEntries(Object.keys(supply.channels).map((name) => [name, faceOf()]))
  const device = createSupplyDevice({ name: port, supply, outputs, chance: chance(5) })
  let moved_us = now_us()
  const answer = (): void => {
    const t_us = now_us()
    for (const [name, face] of Object.entries(outputs))
      settle(face, loads[port]?.[name] ?? 10_000, (t_us - moved_us) / 1e6)
    moved_us = t_us
    const text = device.take(t_us)
    if (text !== '') pty.write(text)
  }
  let rest = ''
  pty.onData((text) => {
    rest += text
    for (let end = rest.indexOf('\n'); end >= 0; end = rest.indexOf('\n')) {
      const line = rest.slice(0, end)
      rest = rest.slice(end + 1)
      if (port === 'ht' && line.endsWith('OUTP OFF')) heardOff('controller')
      if (armed && port === 'ht' && line.endsWith('MEAS:CURR?')) {
        armed = false
        // As in the other measurement: the program sleeps in its poll when the reply comes.
        setTimeout(() => void offend('controller', pty).then(bareTrip), 2)
      } else {
        device.receive(`${line}\n`, now_us())
      }
    }
    answer()
  })
  const timer = setInterval(answer, 1)
  stops.push(() => {
    clearInterval(timer)
    pty.child.kill('SIGKILL')
  })
  return pty.path
}

const bare = await openPty()
let asked: () => void = () => undefined
let waiting = false
bare.onData((text) => {
  if (text.includes('OUTP OFF')) heardOff('bare')
  if (!text.includes('?')) return
  waiting = true
  asked()
})
stops.push(() => {
  bare.child.kill('SIGKILL')
})

async function bareTrip(): Promise<void> {
  if (!waiting) await new Promise<void>((resolve) => (asked = resolve))
  waiting = false
  // What the run makes of its OFF is over by then.
  await new Promise((resolve) => setTimeout(resolve, 10))
  await offend('bare', bare)
  say({ kind: 'tripped' })
}

process.on('message', (message: ToWholeFarEnd) => {
  if (message.do === 'offend') armed = true
  else if (message.do === 'rest') armed = false
  else say({ kind: 'trips', us })
})
process.on('disconnect', () => {
  for (const stop of stops) stop()
  process.exit(0)
})
const paths: string[] = []
for (const port of ports) paths.push(await supplyOn(port))
say({
  kind: 'lines',
  controller: { paths, channels: 1 },
  bare: { paths: [bare.path], channels: 1 },
})
