import type { Path, Report } from '../quantities/index.js'
import type { Bench, Dialect } from './types.js'

/* Every word that slowglow may say to an instrument, held against what is never said. */

/**
 * Clearing a protection puts the output back as it was before the trip; a reset or a preset leaves limits that differ from supply
 * to supply; a saved state wears out memory; *WAI can hang; a self-test may reset settings.
 */
const never = /\*(RST|SAV|RCL|WAI|TST)|:CLE(AR)?\b|\bCLEAR\b|\bSYST(EM)?:PRES(ET)?\b/i

/** What may go over the line. A line end among it would begin a message of its own, whatever the rest says. */
const printable = /^[\x20-\x7e]*$/

/* Switching on, setting, triggering: in the words of SCPI-1999 and common habit, whatever the dialect's own are. */
const number = '[\\d{}N]*'
const level = '(:LEV(EL)?)?(:(IMM(EDIATE)?|TRIG(GERED)?))?(:AMPL(ITUDE)?)?'
const switches = new RegExp(`^OUTP(UT)?${number}(:STAT(E)?)?[ :](ON|[\\d.]+)(,|$)`)
const sets: readonly RegExp[] = [
  new RegExp(`^(SOUR(CE)?${number}:)?(VOLT(AGE)?|CURR(ENT)?)${level} \\S`),
  /^APPL(Y)?\b/,
  /^\*TRG$/,
  /^(INIT(IATE)?|TRIG(GER)?)(:IMM(EDIATE)?)?$/,
]
const nothing = /^(OFF|0+(\.0*)?|\.0+)$/

export interface Said {
  readonly key: string
  readonly words: string
}

type NotSaid =
  | 'name'
  | 'dead_man'
  | 'at_open'
  | 'terminator'
  | 'reply_terminator'
  | 'acknowledges'
  | 'error_lines'
  | 'level_below'
  | 'number_form'
  | 'unit_in_reply'
  | 'switch_in_words'
  | 'answers'
  | 'slow_s'

/** Written out, so that no key can be added to a dialect without being looked at here. */
const said: Readonly<Record<Exclude<keyof Dialect, NotSaid>, true>> = {
  select: true,
  identify: true,
  clear: true,
  remote: true,
  local: true,
  set_volts: true,
  ask_set_volts: true,
  set_amps: true,
  ask_set_amps: true,
  set_over_volts: true,
  ask_over_volts: true,
  over_volts_on: true,
  ask_over_volts_on: true,
  set_over_amps: true,
  ask_over_amps: true,
  over_amps_on: true,
  ask_over_amps_on: true,
  on: true,
  off: true,
  ask_output: true,
  measure_volts: true,
  measure_amps: true,
  ask_over_volts_tripped: true,
  ask_over_amps_tripped: true,
  ask_over_heat_tripped: true,
  ask_cc: true,
  error_query: true,
}

/** All words of a dialect that go over the line, each by its key. */
export function wordsOf(dialect: Dialect): readonly Said[] {
  const { dead_man, at_open } = dialect
  const timer =
    dead_man === null
      ? []
      : [
          ...dead_man.arm,
          ...(dead_man.disarm ?? []),
          ...[dead_man.feed, dead_man.ask_time ?? null, dead_man.ask_armed, dead_man.ask_expired],
        ]
  const single = (Object.keys(said) as (keyof typeof said)[]).map((key) => ({ key, words: dialect[key] }))
  const all = [
    ...single,
    ...timer.map((words) => ({ key: 'dead_man', words })),
    ...at_open.map((words) => ({ key: 'at_open', words })),
  ]
  return all.flatMap(({ key, words }) =>
    words === null ? [] : [{ key, words: typeof words === 'string' ? words : words.query }],
  )
}

/** What is wrong with these words, whichever instrument they go to; `dialect`: what on, off and set are called there. */
export function checkWords(
  dialect: Dialect,
  all: readonly Said[],
  wrong: (what: string, remedy: string) => void,
): void {
  const energises = energisingIn(dialect)
  for (const { key, words } of all) {
    if (/[\r\n]/.test(words)) wrong(`${key} holds the end of a line`, 'leave it out: terminator says it')
    else if (!printable.test(words))
      wrong(`${key} holds a character that is no printable text`, 'write the words as the manual prints them')
    if (never.test(words))
      wrong(
        `${key} says "${words}", which resets, saves or clears: an output may come back by itself`,
        'leave it out; a protection that fired is cleared by hand, output off and set to zero first',
      )
    const found = words.split(/[;\r\n]/).find((unit) => energises(key, plain(unit)))
    if (found !== undefined)
      wrong(
        `${key} says "${found.trim()}", which switches an output on, or sets something at it`,
        'leave it out: outputs are set and switched one by one, each read back, in their order',
      )
  }
}

const unitsOf = (words: string | null): readonly string[] =>
  (words ?? '')
    .split(';')
    .map(plain)
    .filter((unit) => unit !== '')
function plain(unit: string): string {
  return unit.trim().replace(/^:/, '').replace(/\s+/g, ' ').toUpperCase()
}

/** Whether one unit of a message switches on, or sets a figure that stands in the file; lowering to nothing is no harm. */
function energisingIn(dialect: Dialect): (key: string, unit: string) => boolean {
  const off = unitsOf(dialect.off)
  const on = unitsOf(dialect.on).filter((unit) => !off.includes(unit) || switches.test(unit))
  const set = [
    ...[dialect.set_volts, dialect.set_over_volts].flatMap(unitsOf).filter((unit) => unit.includes('{V}')),
    ...[dialect.set_amps, dialect.set_over_amps].flatMap(unitsOf).filter((unit) => unit.includes('{A}')),
  ].map(patternOf)
  const switchesOn = [switches, ...on.map(patternOf)]
  return (key, unit) => {
    // A number that slowglow itself puts in is looked at where its place is.
    if (unit.endsWith('?') || /\{[VA]\}/.test(unit) || nothing.test(valueOf(unit))) return false
    const all = key === 'on' ? [...sets, ...set] : [...switchesOn, ...sets, ...set]
    return all.some((pattern) => pattern.test(unit))
  }
}

/** What stands behind the header, without a list of channels. */
const valueOf = (unit: string): string =>
  unit
    .replace(/,? ?\(@[^)]*\)/, '')
    .replace(/^\S*[ :]/, '')
    .trim()

function patternOf(unit: string): RegExp {
  const parts = unit.split(/(\{[NVA]\})/).map((part) => {
    if (part === '{N}') return number
    return part === '{V}' || part === '{A}' ? '\\S+' : part.replace(/[.*+?^${}()|[\]\\]/g, '\\$&')
  })
  return new RegExp(`^${parts.join('')}$`)
}

/** Words of instruments that are no supply, and of watched inputs on a supply's line. */
export function checkMeterWords(bench: Bench, report: Report): void {
  for (const [name, meter] of Object.entries(bench.meters)) {
    const at = (key: string): Path => (meter.feeds === true ? ['cut_off', key] : ['meters', name, key])
    const { dialect } = meter
    if (dialect !== null)
      checkWords(dialect, wordsOf(dialect), (what, remedy) => {
        report.error(at('dialect'), `dialect "${dialect.name}" of ${name}: ${what}`, remedy)
      })
    const spoken = dialect ?? (meter.on === null ? undefined : bench.supplies[meter.on]?.dialect)
    if (meter.ask === null || spoken === undefined) continue
    const key = meter.feeds === true ? 'feed' : 'ask'
    checkWords(spoken, [{ key, words: meter.ask }], (what, remedy) => {
      report.error(at(key), `${name}: ${what}`, remedy)
    })
  }
}
