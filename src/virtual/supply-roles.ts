import type { Bits, Channel, Supply } from '../bench/index.js'
import {
  boolean,
  decimal,
  digitsOf,
  errors,
  type Answer,
  type Call,
  type Command,
  type ScpiError,
} from './scpi.js'
import type { OutputFace } from './types.js'
import { dressed, phrase, printed, printedSwitch, type Role } from './vocabulary.js'

/** An output as its supply's own program knows it. */
export interface Output {
  readonly name: string
  readonly spec: Channel
  readonly face: OutputFace
  /** Set at least once: an output switched on before is set to who knows what. */
  limited: boolean
  /** A level at which over-current latches, where the supply has one. */
  over_A: number
  over_A_on: boolean
}

/** The supply behind its words. */
export interface Works {
  readonly supply: Supply
  readonly name: string
  readonly outputs: readonly Output[]
  /** Channel number that a selection chose. */
  selected: number
  abuse(what: string): void
  /** Why this output may not be switched on now; null = it may. */
  holdsOff(output: Output): ScpiError | null
}

/** The outputs a command is for, by suffix, list or selection, and what is left of its parameters. */
export function chosen(
  works: Works,
  { suffix, parameters }: Call,
): { readonly outputs: readonly Output[]; readonly values: readonly string[] } | ScpiError {
  // A plain question, as nearly all are.
  if (parameters.length === 0) return alone(works, suffix ?? works.selected)
  const list = parameters.find((parameter) => parameter.startsWith('(@'))
  const values = parameters.filter((parameter) => parameter !== list)
  const numbers = list === undefined ? [suffix ?? works.selected] : listed(list)
  const found = numbers.flatMap((n) => works.outputs.find((output) => output.spec.number === n) ?? [])
  return found.length === numbers.length && found.length > 0 ? { outputs: found, values } : errors.suffix
}

function alone(works: Works, number: number): ReturnType<typeof chosen> {
  for (const output of works.outputs)
    if (output.spec.number === number) return { outputs: [output], values: [] }
  return errors.suffix
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

/** Everything a dialect can have words for. */
export function rolesOf(works: Works): Role[] {
  const { supply, name } = works
  const { dialect } = supply

  const setNumber =
    (unit: 'V' | 'A', apply: (output: Output, value: number) => ScpiError | null) =>
    (call: Call): Answer => {
      const to = chosen(works, call)
      if ('code' in to) return to
      const [text, more] = to.values
      if (text === undefined) return errors.missing
      if (more !== undefined) return errors.notAllowed
      const value = decimal(text)
      if (value === null) return errors.type
      if (/e/i.test(text)) works.abuse(`"${text}" is an exponent: cut short it would be larger`)
      for (const output of to.outputs) {
        const digits = unit === 'V' ? output.spec.set_digits_V : output.spec.set_digits_A
        const error = apply(output, Number(value.toFixed(digits)))
        if (error !== null) {
          works.abuse(`${value} ${unit} was refused by ${name}.${output.name}: ${error.text}`)
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
      most: (spec: Channel) => number = () => 0,
    ) =>
    (call: Call): Answer => {
      const to = chosen(works, call)
      if ('code' in to) return to
      const word = to.values[0]?.toUpperCase()
      if (word !== undefined && word !== 'MAX' && word !== 'MIN') return errors.illegal
      const said = (output: Output): string => {
        const shown = word === undefined ? value(output) : word === 'MAX' ? most(output.spec) : 0
        return printed(dialect, shown, digits(output.spec), unit)
      }
      const [only, ...others] = to.outputs
      return only !== undefined && others.length === 0 ? said(only) : to.outputs.map(said).join(',')
    }
  const askState =
    (value: (output: Output) => boolean) =>
    (call: Call): Answer => {
      const to = chosen(works, call)
      return 'code' in to ? to : to.outputs.map((one) => printedSwitch(dialect, value(one))).join(',')
    }
  const setState =
    (apply: (output: Output, on: boolean) => ScpiError | null) =>
    (call: Call): Answer => {
      const to = chosen(works, call)
      if ('code' in to) return to
      const [text] = to.values
      if (text === undefined) return errors.missing
      const on = boolean(text)
      if (on === null) return errors.type
      for (const output of to.outputs) {
        const error = apply(output, on)
        if (error !== null) return error
      }
      return null
    }
  const volts = (spec: Channel): number => spec.set_digits_V
  const amps = (spec: Channel): number => spec.set_digits_A
  const output = setState((one, on) => {
    if (on && !one.limited)
      works.abuse(`${name}.${one.name} was switched on before its current limit was set`)
    const error = on ? works.holdsOff(one) : null
    if (error === null) one.face.on = on
    return error
  })
  const source = '[SOURce#]'
  const roles: Role[] = [
    {
      word: 'set_volts',
      header: `${source}:VOLTage#[:LEVel][:IMMediate][:AMPLitude]`,
      run: setNumber('V', ({ face, spec }, value) => {
        if (value < spec.min_V || value > spec.max_V) return errors.range
        if (face.over_V_on && face.over_V !== null && value > face.over_V) return errors.conflict
        face.set_V = value * (face.mis_sets ?? 1)
        return null
      }),
    },
    {
      word: 'ask_set_volts',
      header: `${source}:VOLTage#[:LEVel][:IMMediate][:AMPLitude]`,
      run: askNumber(
        'V',
        volts,
        ({ face }) => face.set_V,
        (spec) => spec.max_V,
      ),
    },
    {
      word: 'set_amps',
      header: `${source}:CURRent#[:LEVel][:IMMediate][:AMPLitude]`,
      run: setNumber('A', (one, value) => {
        if (value < one.spec.min_A || value > one.spec.max_A) return errors.range
        one.face.limit_A = value
        one.limited = true
        return null
      }),
    },
    {
      word: 'ask_set_amps',
      header: `${source}:CURRent#[:LEVel][:IMMediate][:AMPLitude]`,
      run: askNumber(
        'A',
        amps,
        ({ face }) => face.limit_A,
        (spec) => spec.max_A,
      ),
    },
    {
      word: 'set_over_volts',
      header: `${source}:VOLTage#:PROTection[:LEVel]`,
      run: setNumber('V', ({ face, spec }, value) => {
        if (!spec.over_voltage) return errors.undefined
        if (value > 1.2 * spec.max_V || value < 0) return errors.range
        if (value < face.set_V + spec.over_voltage_margin_V && dialect.level_below === 'refused')
          return errors.conflict
        face.over_V = value
        return null
      }),
    },
    {
      word: 'ask_over_volts',
      header: `${source}:VOLTage#:PROTection[:LEVel]`,
      run: askNumber('V', volts, ({ face }) => face.over_V ?? 0),
    },
    {
      word: 'over_volts_on',
      header: `${source}:VOLTage#:PROTection:STATe`,
      fixed: 'ON',
      run: setState(({ face }, on) => {
        face.over_V_on = on
        return null
      }),
    },
    {
      word: 'ask_over_volts_on',
      header: `${source}:VOLTage#:PROTection:STATe`,
      run: askState(({ face }) => face.over_V_on),
    },
    {
      word: 'set_over_amps',
      header: `${source}:CURRent#:PROTection[:LEVel]`,
      run: setNumber('A', (one, value) => {
        if (value > 1.2 * one.spec.max_A || value < 0) return errors.range
        if (value < one.face.limit_A && dialect.level_below === 'refused') return errors.conflict
        one.over_A = value
        return null
      }),
    },
    {
      word: 'ask_over_amps',
      header: `${source}:CURRent#:PROTection[:LEVel]`,
      run: askNumber('A', amps, (one) => one.over_A),
    },
    {
      word: 'over_amps_on',
      header: `${source}:CURRent#:PROTection:STATe`,
      fixed: 'ON',
      run: setState((one, on) => {
        one.over_A_on = on
        return null
      }),
    },
    {
      word: 'ask_over_amps_on',
      header: `${source}:CURRent#:PROTection:STATe`,
      run: askState((one) => one.over_A_on),
    },
    { word: 'on', header: 'OUTPut#[:STATe]', fixed: 'ON', run: output },
    { word: 'off', header: 'OUTPut#[:STATe]', fixed: 'OFF', run: output },
    // As commanded: after a trip it still says on (measure, do not believe).
    { word: 'ask_output', header: 'OUTPut#[:STATe]', run: askState(({ face }) => face.on) },
    {
      word: 'measure_volts',
      header: 'MEASure#[:SCALar]:VOLTage[:DC]',
      run: askNumber(
        'V',
        ({ resolution_V }) => digitsOf(resolution_V),
        ({ face }) => face.reads?.V ?? face.measured_V,
      ),
    },
    {
      word: 'measure_amps',
      header: 'MEASure#[:SCALar]:CURRent[:DC]',
      run: askNumber(
        'A',
        ({ resolution_A }) => digitsOf(resolution_A),
        ({ face }) => face.reads?.A ?? face.measured_A,
      ),
    },
    ...plainTrip('ask_over_volts_tripped', `${source}:VOLTage#:PROTection:TRIPped`, 'over-voltage'),
    ...plainTrip('ask_over_amps_tripped', `${source}:CURRent#:PROTection:TRIPped`, 'over-current'),
    ...plainTrip('ask_over_heat_tripped', `${source}:TEMPerature#:PROTection:TRIPped`, 'over-temperature'),
  ]
  return roles.map((role) => ({ ...role, run: (call) => dressed(dialect, role.word, role.run(call)) }))

  /** A trip asked in words of its own; one that stands in a register is answered there. */
  function plainTrip(
    word: 'ask_over_volts_tripped' | 'ask_over_amps_tripped' | 'ask_over_heat_tripped',
    header: string,
    which: NonNullable<OutputFace['tripped']>,
  ): Role[] {
    if (typeof dialect[word] !== 'string') return []
    return [{ word, header, run: askState(({ face }) => face.tripped === which) }]
  }
}

/**
 * The status registers of the dialect: each is one question, with every bit the dialect gives a meaning, and one bit beside
 * them that means something else, as real registers have.
 */
export function registersOf(works: Works): Command[] {
  const { dialect } = works.supply
  const found = new Map<string, { word: 'ask_cc'; bits: ((face: OutputFace) => number)[]; used: number }>()
  const add = (bits: Bits, used: number, value: (face: OutputFace) => number): void => {
    const register = found.get(bits.query) ?? { word: 'ask_cc', bits: [], used: 0 }
    register.bits.push(value)
    register.used |= used
    found.set(bits.query, register)
  }
  const { ask_cc } = dialect
  if (ask_cc !== null) {
    // Without a bit of its own, constant voltage shows as the bit above that of constant current, which nobody looks at.
    const cv = ask_cc.cv_mask ?? (ask_cc.mask << 1) & 0x7fff
    add(ask_cc, ask_cc.mask | cv, (face) =>
      !face.on || face.tripped !== null ? 0 : face.limiting ? ask_cc.mask : cv,
    )
  }
  for (const [bits, which] of [
    [dialect.ask_over_volts_tripped, 'over-voltage'],
    [dialect.ask_over_amps_tripped, 'over-current'],
    [dialect.ask_over_heat_tripped, 'over-temperature'],
  ] as const) {
    if (bits !== null && typeof bits !== 'string')
      add(bits, bits.mask, ({ tripped }) => (tripped === which ? bits.mask : 0))
  }
  return [...found].map(([query, { bits, used }]) => {
    const other = [16384, 8192, 4096].find((bit) => (used & bit) === 0) ?? 0
    return {
      header: phrase(query),
      ask: (call: Call): Answer => {
        const to = chosen(works, call)
        if ('code' in to) return to
        const values = to.outputs.map(({ face }) =>
          bits.reduce((sum, value) => sum | value(face), face.on ? other : 0),
        )
        return dressed(dialect, 'ask_cc', values.join(','))
      },
    }
  })
}
