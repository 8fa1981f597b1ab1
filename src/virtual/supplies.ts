import type { Channel } from '../bench/index.js'
import { createPort, instrument, otherIdentity, standardIdentity } from './port.js'
import {
  boolean,
  decimal,
  digitsOf,
  errors,
  grammar,
  type Answer,
  type Call,
  type Command,
  type ScpiError,
} from './scpi.js'
import type { LineFaults, VirtualInstrument, VirtualSupplyOptions } from './supplies-types.js'
import type { OutputFace } from './types.js'

export type * from './supplies-types.js'
export { createMeterDevice } from './meter-device.js'

interface Output {
  readonly name: string
  readonly spec: Channel
  readonly face: OutputFace
  /** Set at least once: an output switched on before is set to who knows what. */
  limited: boolean
}

const queue_most = 20

/** A supply that speaks SCPI on a port, over the faces of its outputs. */
export function createSupplyDevice(options: VirtualSupplyOptions): VirtualInstrument {
  const { supply, name } = options
  const outputs: Output[] = Object.entries(supply.channels).flatMap(([channel, spec]) => {
    const face = options.outputs[channel] ?? options.outputs[`${name}.${channel}`]
    return face === undefined ? [] : [{ name: channel, spec, face, limited: false }]
  })
  let selected = outputs[0]?.spec.number ?? 1
  let queue: ScpiError[] = []
  let faults: LineFaults = {}
  let armed = false
  let fed_us = 0

  const abuse = (what: string): void => {
    port.abuses.push(what)
  }
  const raise = (error: ScpiError): ScpiError => {
    if (queue.length < queue_most) queue.push(error)
    else queue[queue_most - 1] = errors.overflow
    return error
  }

  const chosen = ({ suffix, parameters }: Call): { outputs: Output[]; values: string[] } | ScpiError => {
    const list = parameters.find((parameter) => parameter.startsWith('(@'))
    const values = parameters.filter((parameter) => parameter !== list)
    const numbers = list === undefined ? [suffix ?? selected] : listed(list)
    const found = numbers.flatMap((n) => outputs.find((output) => output.spec.number === n) ?? [])
    return found.length === numbers.length && found.length > 0 ? { outputs: found, values } : errors.suffix
  }
  /** A set command with one number. */
  const setNumber =
    (unit: 'V' | 'A', apply: (output: Output, value: number) => ScpiError | null) =>
    (call: Call): Answer => {
      const to = chosen(call)
      if ('code' in to) return to
      const [text, more] = to.values
      if (text === undefined) return errors.missing
      if (more !== undefined) return errors.notAllowed
      const value = decimal(text)
      if (value === null) return errors.type
      if (/e/i.test(text)) abuse(`"${text}" is an exponent: cut short it would be larger`)
      for (const output of to.outputs) {
        const digits = unit === 'V' ? output.spec.set_digits_V : output.spec.set_digits_A
        const error = apply(output, Number(value.toFixed(digits)))
        if (error !== null) {
          abuse(`${value} ${unit} was refused by ${name}.${output.name}: ${error.text}`)
          return error
        }
      }
      return null
    }
  const askNumber =
    (
      unit: 'V' | 'A',
      digits: (spec: Channel) => number,
      value: (output: Output) => number,
      most?: (spec: Channel) => number,
    ) =>
    (call: Call): Answer => {
      const to = chosen(call)
      if ('code' in to) return to
      const word = to.values[0]?.toUpperCase()
      if (word !== undefined && word !== 'MAX' && word !== 'MIN') return errors.illegal
      return to.outputs
        .map((output) => {
          const shown = word === undefined ? value(output) : word === 'MAX' ? (most?.(output.spec) ?? 0) : 0
          return shown.toFixed(digits(output.spec)) + (supply.dialect.unit_in_reply ? unit : '')
        })
        .join(',')
    }
  const askState =
    (value: (output: Output) => boolean | number) =>
    (call: Call): Answer => {
      const to = chosen(call)
      return 'code' in to ? to : to.outputs.map((output) => String(Number(value(output)))).join(',')
    }
  const setState =
    (apply: (output: Output, on: boolean) => void) =>
    (call: Call): Answer => {
      const to = chosen(call)
      if ('code' in to) return to
      const [text] = to.values
      if (text === undefined) return errors.missing
      const on = boolean(text)
      if (on === null) return errors.type
      for (const output of supply.common_output_switch ? outputs : to.outputs) apply(output, on)
      return null
    }
  const clear = (call: Call): Answer => {
    const to = chosen(call)
    if ('code' in to) return to
    for (const { face, name: channel } of to.outputs) {
      // The output comes back as it was before the trip: clear only what is off and at zero.
      if (face.on || face.set_V > 0)
        abuse(`the protection of ${channel} was cleared with the output on or a set-point left`)
      face.tripped = null
    }
    return null
  }

  const volts = (spec: Channel): number => spec.set_digits_V
  const amps = (spec: Channel): number => spec.set_digits_A
  // Constant current: volts are the quantity that is not regulated (the literal reading of the standard).
  const questionable = askState(({ face }) => (face.limiting ? 1 : face.on ? 2 : 0))
  const commands: Command[] = [
    {
      header: '[SOURce#]:VOLTage#[:LEVel][:IMMediate][:AMPLitude]',
      set: setNumber('V', (output, value) => {
        const { face, spec } = output
        if (value < spec.min_V || value > spec.max_V) return errors.range
        if (face.over_V_on && face.over_V !== null && value > face.over_V) return errors.conflict
        face.set_V = value
        return null
      }),
      ask: askNumber(
        'V',
        volts,
        ({ face }) => face.set_V,
        (spec) => spec.max_V,
      ),
    },
    {
      header: '[SOURce#]:CURRent#[:LEVel][:IMMediate][:AMPLitude]',
      set: setNumber('A', (output, value) => {
        if (value < output.spec.min_A || value > output.spec.max_A) return errors.range
        output.face.limit_A = value
        output.limited = true
        return null
      }),
      ask: askNumber(
        'A',
        amps,
        ({ face }) => face.limit_A,
        (spec) => spec.max_A,
      ),
    },
    {
      header: '[SOURce#]:VOLTage#:PROTection[:LEVel]',
      set: setNumber('V', ({ face, spec }, value) => {
        if (!spec.over_voltage) return errors.undefined
        if (value > 1.2 * spec.max_V || value < 0) return errors.range
        if (value < face.set_V + spec.over_voltage_margin_V) return errors.conflict
        face.over_V = value
        return null
      }),
      ask: askNumber('V', volts, ({ face }) => face.over_V ?? 0),
    },
    {
      header: '[SOURce#]:VOLTage#:PROTection:STATe',
      set: setState(({ face }, on) => {
        face.over_V_on = on
      }),
      ask: askState(({ face }) => face.over_V_on),
    },
    {
      header: '[SOURce#]:VOLTage#:PROTection:TRIPped',
      ask: askState(({ face }) => face.tripped === 'over-voltage'),
    },
    {
      header: '[SOURce#]:CURRent#:PROTection:TRIPped',
      ask: askState(({ face }) => face.tripped === 'over-current'),
    },
    { header: '[SOURce#]:VOLTage#:PROTection:CLEar', set: clear },
    { header: '[SOURce#]:CURRent#:PROTection:CLEar', set: clear },
    { header: 'OUTPut#:PROTection:CLEar', set: clear },
    {
      header: 'OUTPut#[:STATe]',
      set: setState((output, on) => {
        if (on && !output.limited)
          abuse(`${name}.${output.name} was switched on before its current limit was set`)
        output.face.on = on
      }),
      // As commanded: after a trip it still says on (measure, do not believe).
      ask: askState(({ face }) => face.on),
    },
    {
      header: 'MEASure#[:SCALar]:VOLTage[:DC]',
      ask: askNumber(
        'V',
        ({ resolution_V }) => digitsOf(resolution_V),
        ({ face }) => face.measured_V,
      ),
    },
    {
      header: 'MEASure#[:SCALar]:CURRent[:DC]',
      ask: askNumber(
        'A',
        ({ resolution_A }) => digitsOf(resolution_A),
        ({ face }) => face.measured_A,
      ),
    },
    {
      header: 'INSTrument:NSELect',
      set: ({ parameters }) => {
        const n = decimal(parameters[0] ?? '')
        if (!outputs.some((output) => output.spec.number === n)) return errors.range
        selected = n ?? selected
        return null
      },
      ask: () => String(selected),
    },
    {
      header: 'STATus:QUEStionable:CONDition',
      ask: questionable,
    },
    { header: 'STATus:QUEStionable:INSTrument:ISUMmary#:CONDition', ask: questionable },
    {
      header: 'STATus:OPERation:CONDition',
      ask: askState(({ face }) => (face.limiting ? 1024 : face.on ? 256 : 0)),
    },
    {
      header: 'SYSTem:ERRor[:NEXT]',
      ask: () => {
        const error = queue[0] ?? { code: 0, text: 'No error' }
        queue = queue.slice(1)
        return `${error.code},"${error.text}"`
      },
    },
    { header: 'SYSTem:VERSion', ask: () => '1999.0' },
    { header: 'SYSTem:REMote', set: () => null },
    { header: 'SYSTem:LOCal', set: () => null },
    {
      header: '*IDN',
      ask: () =>
        faults.wrong_identity === true ? otherIdentity : (supply.identity ?? standardIdentity(name)),
    },
    {
      header: '*CLS',
      set: () => {
        queue = []
        return null
      },
    },
    { header: '*OPC', ask: () => '1', set: () => null },
    {
      header: '*RST',
      set: () => {
        abuse('*RST: current limits and protections after it differ from supply to supply')
        for (const { face } of outputs) Object.assign(face, { on: false, set_V: 0 })
        return null
      },
    },
  ]
  const language = grammar(commands)

  const protect = (t_us: number): void => {
    for (const { face } of outputs) {
      const over = face.over_V_on && face.over_V !== null && face.measured_V > face.over_V
      if (over && face.on && face.tripped === null) face.tripped = 'over-voltage'
    }
    const limit_us = (supply.dialect.dead_man?.after_s ?? Infinity) * 1e6
    if (armed && t_us - fed_us > limit_us) {
      armed = false
      for (const { face } of outputs) face.on = false
    }
  }
  /** The dead-man's words are the dialect's own. */
  const deadMan = (message: string, t_us: number): boolean => {
    const words = supply.dialect.dead_man
    if (words === null) return false
    if (message === words.arm) armed = true
    if (message === words.arm || message === words.feed) fed_us = t_us
    return message === words.arm || (message === words.feed && !message.endsWith('?'))
  }
  const act = (message: string, t_us: number): string | null => {
    protect(t_us)
    if (!/^[\x09\x0d\x20-\x7e]*$/.test(message)) abuse(`bytes that are no text in ${JSON.stringify(message)}`)
    const acknowledged = supply.dialect.acknowledges
    if (deadMan(message.trim(), t_us)) return acknowledged
    const answers: string[] = []
    let commandsDone = 0
    for (const found of language.units(message)) {
      if ('error' in found) {
        raise(found.error)
        abuse(`"${message}" is not understood: ${found.error.text}`)
        break
      }
      const { unit, command, suffix } = found
      const call = { suffix, parameters: unit.parameters }
      const run = unit.query ? command.ask : command.set
      const local = faults.local === true && !unit.query && !/^[*]|INST/i.test(unit.header)
      const answer = local ? errors.local : run === undefined ? errors.undefined : run(call)
      if (typeof answer === 'string') answers.push(answer)
      else if (answer === null) commandsDone += 1
      else {
        raise(answer)
        if (run === undefined) abuse(`"${message}" is not understood: ${errors.undefined.text}`)
        break
      }
    }
    if (answers.length > 0) return answers.join(';')
    return commandsDone > 0 ? acknowledged : null
  }
  const port = createPort(supply.line, supply.dialect.terminator, options.chance, act)
  return instrument(port, protect, (now) => {
    faults = now
  })
}

/** `(@1,3)`, `(@1:3)`: the channel numbers; empty when it is no list. */
function listed(text: string): number[] {
  const inside = /^\(@([\d,:]+)\)$/.exec(text)?.[1]
  if (inside === undefined) return []
  return inside.split(',').flatMap((piece) => {
    const [from = 0, to = from] = piece.split(':').map(Number)
    return Array.from({ length: Math.min(99, to - from + 1) }, (_, i) => from + i)
  })
}
