import { createPort, instrument, otherIdentity, standardIdentity } from './port.js'
import { decimal, errors, grammar, type Answer, type Call, type Command, type ScpiError } from './scpi.js'
import { chosen, registersOf, rolesOf, type Output, type Works } from './supply-roles.js'
import type { LineFaults, VirtualInstrument, VirtualSupplyOptions } from './supplies-types.js'
import { dressed, phrase, vocabulary, type Role } from './vocabulary.js'
import { createWatchdog } from './watchdog.js'

export type * from './supplies-types.js'
export { createMeterDevice } from './meter-device.js'

const queue_most = 20

/** A supply that speaks its bench file's dialect on a port, over the faces of its outputs. */
export function createSupplyDevice(options: VirtualSupplyOptions): VirtualInstrument {
  const { supply, name } = options
  const { dialect } = supply
  const outputs: Output[] = Object.entries(supply.channels).flatMap(([channel, spec]) => {
    const face = options.outputs[channel] ?? options.outputs[`${name}.${channel}`]
    const over_A = 1.2 * spec.max_A
    return face === undefined ? [] : [{ name: channel, spec, face, limited: false, over_A, over_A_on: false }]
  })
  // Without words to arm it, it is always armed.
  for (const { face, spec } of outputs) {
    if (dialect.set_over_volts !== null && dialect.over_volts_on === null) face.over_V_on = spec.over_voltage
  }
  let queue: ScpiError[] = []
  let faults: LineFaults = {}
  let remote = dialect.remote === null
  let now_us = 0

  const works: Works = {
    supply,
    name,
    outputs,
    selected: outputs[0]?.spec.number ?? 1,
    abuse: (what) => port.abuses.push(what),
    holdsOff: (output) => watchdog.holdsOff(output),
  }
  const watchdog = createWatchdog(works, dialect.dead_man, () => now_us)
  const raise = (error: ScpiError): void => {
    if (queue.length < queue_most) queue.push(error)
    else queue[queue_most - 1] = errors.overflow
  }
  const clear = (call: Call): Answer => {
    const to = chosen(works, call)
    if ('code' in to) return to
    for (const { face, name: channel } of to.outputs) {
      // The output comes back as it was before the trip: clear only what is off and at zero.
      if (face.on || face.set_V > 0)
        works.abuse(`the protection of ${channel} was cleared with the output on or a set-point left`)
      face.tripped = null
    }
    return null
  }
  const whole: Role[] = [
    {
      word: 'identify',
      header: '*IDN',
      run: () =>
        faults.wrong_identity === true ? otherIdentity : (supply.identity ?? standardIdentity(name)),
    },
    {
      word: 'clear',
      header: '*CLS',
      run: () => {
        queue = []
        return null
      },
    },
    {
      word: 'remote',
      header: 'SYSTem:REMote',
      run: () => {
        remote = true
        return null
      },
    },
    {
      word: 'local',
      header: 'SYSTem:LOCal',
      run: () => {
        remote = dialect.remote === null
        return null
      },
    },
    {
      word: 'error_query',
      header: 'SYSTem:ERRor[:NEXT]',
      run: () => {
        const error = queue[0] ?? { code: 0, text: 'No error' }
        queue = queue.slice(1)
        return dressed(dialect, 'error_query', `${error.code},"${error.text}"`)
      },
    },
  ]
  const always: Command[] = [
    { header: '[SOURce#]:VOLTage#:PROTection:CLEar', set: clear },
    { header: '[SOURce#]:CURRent#:PROTection:CLEar', set: clear },
    { header: 'OUTPut#:PROTection:CLEar', set: clear },
    {
      header: 'INSTrument:NSELect',
      set: ({ parameters }) => {
        const n = decimal(parameters[0] ?? '')
        if (!outputs.some((output) => output.spec.number === n)) return errors.range
        works.selected = n ?? works.selected
        return null
      },
      ask: () => String(works.selected),
    },
    { header: 'SYSTem:VERSion', ask: () => '1999.0' },
    {
      header: 'SYSTem:LOCal',
      set: () => {
        remote = dialect.remote === null
        return null
      },
    },
    { header: '*OPC', ask: () => '1', set: () => null },
    {
      header: '*RST',
      set: () => {
        works.abuse('*RST: current limits and protections after it differ from supply to supply')
        for (const { face } of outputs) Object.assign(face, { on: false, set_V: 0 })
        return null
      },
    },
  ]
  const language = grammar([
    ...registersOf(works),
    ...watchdog.commands,
    ...dialect.at_open.map((text): Command => ({ header: phrase(text), set: () => null })),
    ...(options.inputs ?? []).map(({ ask, text }): Command => ({ header: phrase(ask), ask: text })),
    ...selection(works),
    ...vocabulary(dialect, [...rolesOf(works), ...whole]),
    ...always,
  ])

  const protect = (t_us: number): void => {
    for (const { face, over_A, over_A_on } of outputs) {
      if (!face.on || face.tripped !== null || face.inert === true) continue
      if (face.over_V_on && face.over_V !== null && face.measured_V > face.over_V)
        face.tripped = 'over-voltage'
      else if (over_A_on && face.measured_A > over_A) face.tripped = 'over-current'
    }
    watchdog.pass(t_us)
  }
  /** The line it says of its own accord about a refusal in the present message. */
  const own = { refusal: null as string | null }
  const refused = (error: ScpiError): void => {
    raise(error)
    own.refusal = dialect.error_lines.at(error === errors.local ? 0 : -1) ?? null
  }
  const act = (message: string, t_us: number): string | null => {
    protect(t_us)
    now_us = t_us
    if (!/^[\x09\x0d\x20-\x7e]*$/.test(message))
      works.abuse(`bytes that are no text in ${JSON.stringify(message)}`)
    let answers: string[] = []
    let done = 0
    for (const found of language.units(message)) {
      if ('error' in found) {
        refused(found.error)
        works.abuse(`"${message}" is not understood: ${found.error.text}`)
        break
      }
      const { unit, command, suffix } = found
      const call = { suffix, parameters: unit.parameters }
      const run = unit.query ? command.ask : command.set
      const local = inLocal(unit.header, unit.query, message)
      const answer = local ? errors.local : run === undefined ? errors.undefined : run(call)
      if (run !== undefined) watchdog.heard(t_us)
      if (typeof answer === 'string') answers = answers.length === 0 ? [answer] : [...answers, answer]
      else if (answer === null) done += 1
      else {
        refused(answer)
        if (run === undefined) works.abuse(`"${message}" is not understood: ${errors.undefined.text}`)
        break
      }
    }
    const { refusal } = own
    own.refusal = null
    if (answers.length > 0) return answers.length === 1 ? (answers[0] ?? '') : answers.join(';')
    return refusal ?? (done > 0 ? dialect.acknowledges : null)
  }
  const feed = dialect.dead_man?.feed ?? dialect.off
  const obeyed = new Set(
    outputs.flatMap(({ spec }) =>
      [dialect.off, feed].map((words) => words.replaceAll('{n}', String(spec.number)).toUpperCase()),
    ),
  )
  /** OFF and the feeding of a dead-man are obeyed in local, as the protocol asks; by a supply with the fault `local` not even they. */
  const alwaysObeyed = (message: string): boolean =>
    message.split(';').some((unit) => obeyed.has(unit.trim().toUpperCase()))
  /** Somebody has the panel, or nobody took it: settings are refused. Choosing a channel and the words for the whole supply are not. */
  const inLocal = (header: string, query: boolean, message: string): boolean =>
    !query &&
    (faults.local === true || (!remote && !alwaysObeyed(message))) &&
    !/^[*]|INST|REM/i.test(header) &&
    header !== dialect.clear

  const port = createPort(
    supply.line,
    {
      terminator: dialect.terminator,
      reply_terminator: dialect.reply_terminator,
      takes_us: (message) => {
        let most: number | null = null
        for (const found of language.units(message)) {
          if ('error' in found) continue
          const us = found.unit.query ? found.command.takes_us?.ask : found.command.takes_us?.set
          if (us !== undefined) most = Math.max(most ?? 0, us)
        }
        return most
      },
    },
    options.chance,
    act,
  )
  const made = instrument(port, protect, (now) => {
    faults = now
  })
  const panel = (): void => {
    remote = dialect.remote === null
  }
  // Nobody need speak to it for its dead-man to run out.
  const next_us = (): number | null => {
    const first_us = Math.min(made.next_us() ?? Infinity, watchdog.runsOut_us())
    return first_us === Infinity ? null : first_us
  }
  return { ...made, next_us, panel }
}

/** Words that choose a channel, where they are not the standard's. */
function selection(works: Works): Command[] {
  const words = works.supply.dialect.select?.replace(/;\s*$/, '')
  if (words === undefined || /^:?INST(RUMENT)?:NSEL(ECT)? /i.test(words)) return []
  return [
    {
      header: phrase(words),
      set: ({ suffix }) => {
        if (!works.outputs.some((output) => output.spec.number === suffix)) return errors.range
        works.selected = suffix ?? works.selected
        return null
      },
    },
  ]
}
