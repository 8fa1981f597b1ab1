import { plainScpi } from '../bench/index.js'
import { createPort, instrument, otherIdentity, standardIdentity } from './port.js'
import { digitsOf, errors, grammar, type Answer, type Command } from './scpi.js'
import type { LineFaults, VirtualInstrument, VirtualMeterOptions } from './supplies-types.js'
import { dressed, phrase, printed, vocabulary } from './vocabulary.js'

/** A meter that speaks SCPI on a port. */
export function createMeterDevice(options: VirtualMeterOptions): VirtualInstrument {
  const { meter, name } = options
  let faults: LineFaults = {}
  const dialect = meter.dialect ?? plainScpi
  const shows = (unit: 'V' | 'A') => (): Answer => {
    if (meter.measures !== unit) return errors.conflict
    const value = options.shows()
    if (value === null) return null
    const word = unit === 'V' ? 'measure_volts' : 'measure_amps'
    return dressed(dialect, word, printed(dialect, value, digitsOf(meter.resolution), unit))
  }
  const identity = (): Answer =>
    faults.wrong_identity === true ? otherIdentity : (meter.identity ?? standardIdentity(name))
  const nothing = (): Answer => null
  const commands: Command[] = [
    ...vocabulary(dialect, [
      { word: 'measure_volts', header: 'MEASure[:SCALar]:VOLTage[:DC]', run: shows('V') },
      { word: 'measure_amps', header: 'MEASure[:SCALar]:CURRent[:DC]', run: shows('A') },
      { word: 'identify', header: '*IDN', run: identity },
      { word: 'clear', header: '*CLS', run: nothing },
      { word: 'remote', header: 'SYSTem:REMote', run: nothing },
      { word: 'error_query', header: 'SYSTem:ERRor[:NEXT]', run: () => '0,"No error"' },
    ]),
    ...(meter.measures === 'V' || meter.measures === 'A'
      ? [{ header: 'READ', ask: shows(meter.measures) }]
      : []),
    ...(meter.ask === null ? [] : [{ header: phrase(meter.ask), ask: () => options.text?.() ?? null }]),
    { header: 'INSTrument:NSELect', set: nothing },
  ]
  const language = grammar(commands)
  const act = (message: string): string | null => {
    let answers: string[] = []
    for (const found of language.units(message)) {
      const run = 'error' in found ? undefined : found.unit.query ? found.command.ask : found.command.set
      const answer =
        run === undefined || 'error' in found
          ? null
          : run({ suffix: found.suffix, parameters: found.unit.parameters })
      if (run === undefined) port.abuses.push(`"${message}" is not understood`)
      if (typeof answer === 'string') answers = answers.length === 0 ? [answer] : [...answers, answer]
    }
    return answers.length < 2 ? (answers[0] ?? null) : answers.join(';')
  }
  const line = meter.line ?? { kind: 'virtual', as: 'pty', baud: 9600, spare_allowed: true }
  const { terminator, reply_terminator } = dialect
  const port = createPort(line, { terminator, reply_terminator, takes_us: () => null }, options.chance, act)
  return instrument(
    port,
    () => undefined,
    (now) => {
      faults = now
    },
  )
}
