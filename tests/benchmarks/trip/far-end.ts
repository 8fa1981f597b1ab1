import { openPty, type Pty } from '../../helpers/pty.js'
import { type FromFarEnd, type Lines, offending, type Side, type ToFarEnd, volts, well } from './messages.js'

/**
 * The supplies' end of the lines, a process of its own: it answers at once, so that what is measured is the two programs and
 * the terminal lines between, and it alone holds the clock. `far-end SUPPLIES CHANNELS`.
 */
const [supplies = 1, channels = 1] = process.argv.slice(2).map(Number)
const say = (message: FromFarEnd): void => {
  process.send?.(message)
}
const sides: readonly Side[] = ['controller', 'bare']

interface Far {
  readonly side: Side
  readonly pty: Pty
  offs: number
}
/** What is done with a question; set by the measurement under way. */
let asked: (far: Far, question: string) => void = () => undefined
let off: (far: Far) => void = () => undefined

async function open(side: Side): Promise<Far[]> {
  const all: Far[] = []
  for (let i = 0; i < supplies; i++) {
    const far: Far = { side, pty: await openPty(), offs: 0 }
    let rest = ''
    far.pty.onData((text) => {
      rest += text
      for (let end = rest.indexOf('\n'); end >= 0; end = rest.indexOf('\n')) {
        const line = rest.slice(0, end)
        rest = rest.slice(end + 1)
        if (line.endsWith('OUTP OFF')) {
          far.offs += 1
          off(far)
        } else if (line.endsWith('?')) {
          asked(far, line)
        }
      }
    })
    all.push(far)
  }
  return all
}

const outputs = supplies * channels
function answer(question: string): string {
  if (question.endsWith('MEAS:VOLT?')) return volts(outputs)
  if (question.endsWith('MEAS:CURR?')) return well.amps
  if (question.endsWith('OUTP?')) return '1'
  return '0'
}

const ends: Record<Side, Far[]> = { controller: await open('controller'), bare: await open('bare') }
const linesOf = (side: Side): Lines => ({ paths: ends[side].map(({ pty }) => pty.path), channels })

/** Whose question stands unanswered: also from one measurement to the next. */
const waiting: Record<Side, Far | null> = { controller: null, bare: null }

/** Turn about, one trip each: what disturbs the machine meets both alike. */
async function trips(count: number): Promise<void> {
  const us: Record<Side, number[]> = { controller: [], bare: [] }
  let arrived: () => void = () => undefined
  asked = (far) => {
    waiting[far.side] = far
    arrived()
  }
  const question = async (side: Side): Promise<Far> => {
    while (waiting[side] === null) await new Promise<void>((resolve) => (arrived = resolve))
    return waiting[side]
  }
  for (let i = 0; i < count; i++)
    for (const side of sides) {
      // Both have asked again: what either made of its last OFF, its record too, is over before the next begins.
      for (const each of sides) await question(each)
      const far = await question(side)
      waiting[side] = null
      for (const one of ends[side]) one.offs = 0
      // Both programs are asleep in their poll when the reply comes, as on a real line.
      await new Promise((resolve) => setTimeout(resolve, 2 + (i % 3)))
      await new Promise<void>((resolve) => {
        const from = process.hrtime.bigint()
        off = () => {
          if (ends[side].some(({ offs }) => offs < channels)) return
          us[side].push(Number(process.hrtime.bigint() - from) / 1000)
          off = () => undefined
          resolve()
        }
        far.pty.write(`${offending}\n`)
      })
    }
  say({ kind: 'trips', us })
}

/** Whose turn it is not is answered slowly: it must not fall silent, which would be a fault, and it must not take the machine. */
const slow_ms = 40

async function polls(for_ms: number, turns: number): Promise<void> {
  const rate: Record<Side, number[]> = { controller: [], bare: [] }
  let counting: Side = 'bare'
  let readings = 0
  const silent = new Set<Side>(sides)
  asked = (far, question) => {
    silent.delete(far.side)
    const reply = (): void => {
      far.pty.write(`${answer(question)}\n`)
    }
    if (far.side !== counting) {
      setTimeout(reply, slow_ms)
    } else {
      if (question.endsWith('MEAS:CURR?')) readings += 1
      reply()
    }
  }
  // A busy machine takes its time to start two programs.
  while (silent.size > 0) await new Promise((resolve) => setTimeout(resolve, 100))
  await new Promise((resolve) => setTimeout(resolve, 2000))
  for (let i = 0; i < turns; i++)
    for (const side of sides) {
      counting = side
      await new Promise((resolve) => setTimeout(resolve, 2 * slow_ms))
      readings = 0
      const from = process.hrtime.bigint()
      await new Promise((resolve) => setTimeout(resolve, for_ms))
      rate[side].push((readings * 1e9) / Number(process.hrtime.bigint() - from) / outputs)
    }
  say({ kind: 'polls', rate })
}

process.on('message', (message: ToFarEnd) => {
  if (message.do === 'trips') void trips(message.trips)
  else void polls(message.for_ms, message.turns)
})
process.on('disconnect', () => {
  for (const { pty } of [...ends.controller, ...ends.bare]) pty.child.kill('SIGKILL')
  process.exit(0)
})
say({ kind: 'lines', controller: linesOf('controller'), bare: linesOf('bare') })
