import { ReadlineParser, SerialPort } from 'serialport'
import { type ToSide, well } from './messages.js'

/**
 * The yardstick: the least that can be written with the same library. It asks, compares one number, and either asks the next
 * thing or writes OFF for everything. No deadline, no read-back, no record, no other rule. After an OFF it asks a moment later, as the
 * other does: nothing of its own stands in the way of that OFF.
 */
const moment_ms = 1

process.once('message', (message: ToSide) => {
  if (message.do === 'close') return
  const { do: what, lines } = message
  const numbers = Array.from({ length: lines.channels }, (_, at) => at + 1)
  const select = (n: number): string => (lines.channels > 1 ? `:INST:NSEL ${n};` : '')
  const offText = `\n${numbers.map((n) => `${select(n)}:OUTP OFF\n`).join('')}`
  const questions =
    what === 'trips'
      ? [`${select(1)}:MEAS:CURR?\n`]
      : numbers.flatMap((n) => [`${select(n)}:MEAS:VOLT?\n`, `${select(n)}:MEAS:CURR?\n`])
  const ports = lines.paths.map((path) => new SerialPort({ path, baudRate: 115_200 }))
  for (const [index, port] of ports.entries()) {
    // The far end goes first when the measurement is over.
    port.on('error', () => process.exit(0))
    const parser = port.pipe(new ReadlineParser())
    let at = 0
    const ask = (): void => {
      port.write(questions[at++ % questions.length] ?? '')
    }
    parser.on('data', (line: string) => {
      // Volts are compared with nothing: one number is.
      const amps = what === 'trips' || at % 2 === 0
      if (amps && Number(line) > well.limit_A) {
        for (const each of ports) each.write(offText)
        setTimeout(ask, moment_ms)
      } else {
        ask()
      }
    })
    if (what === 'polls' || index === 0) port.on('open', ask)
  }
})
process.on('disconnect', () => process.exit(0))
