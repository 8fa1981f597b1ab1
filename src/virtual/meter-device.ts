import { createPort, instrument, otherIdentity, standardIdentity } from './port.js'
import { digitsOf, errors, grammar, type Command } from './scpi.js'
import type { LineFaults, VirtualInstrument, VirtualMeterOptions } from './supplies-types.js'

/** A meter that speaks SCPI on a port. */
export function createMeterDevice(options: VirtualMeterOptions): VirtualInstrument {
  const { meter, name } = options
  let faults: LineFaults = {}
  const shown = (): string =>
    options.shows().toFixed(digitsOf(meter.resolution)) +
    (meter.dialect?.unit_in_reply === true ? meter.measures : '')
  const commands: Command[] = [
    {
      header: 'MEASure[:SCALar]:VOLTage[:DC]',
      ask: () => (meter.measures === 'V' ? shown() : errors.conflict),
    },
    {
      header: 'MEASure[:SCALar]:CURRent[:DC]',
      ask: () => (meter.measures === 'A' ? shown() : errors.conflict),
    },
    { header: 'READ', ask: shown },
    {
      header: '*IDN',
      ask: () =>
        faults.wrong_identity === true ? otherIdentity : (meter.identity ?? standardIdentity(name)),
    },
    { header: '*CLS', set: () => null },
    { header: 'SYSTem:REMote', set: () => null },
    { header: 'SYSTem:ERRor[:NEXT]', ask: () => '0,"No error"' },
    { header: 'INSTrument:NSELect', set: () => null },
  ]
  const language = grammar(commands)
  const act = (message: string): string | null => {
    const answers: string[] = []
    for (const found of language.units(message)) {
      const run = 'error' in found ? undefined : found.unit.query ? found.command.ask : found.command.set
      const answer =
        run === undefined || 'error' in found
          ? null
          : run({ suffix: found.suffix, parameters: found.unit.parameters })
      if (run === undefined) port.abuses.push(`"${message}" is not understood`)
      if (typeof answer === 'string') answers.push(answer)
    }
    return answers.length === 0 ? null : answers.join(';')
  }
  const line = meter.line ?? { kind: 'virtual', as: 'pty', baud: 9600, spare_allowed: true }
  const port = createPort(line, meter.dialect?.terminator ?? '\n', options.chance, act)
  return instrument(
    port,
    () => undefined,
    (now) => {
      faults = now
    },
  )
}
