import { formatQuantity, type Path, type Report } from '../quantities/index.js'
import { checkWords, wordsOf } from './check-words.js'
import { switchOn_s, unread_s } from './poll-time.js'
import type { Dialect, Question, Supply, Telling } from './types.js'

/** Words that go to one channel, and the number that must stand in them. */
const places: Readonly<Partial<Record<Telling, '{v}' | '{a}'>>> = {
  set_volts: '{v}',
  set_over_volts: '{v}',
  set_amps: '{a}',
  set_over_amps: '{a}',
}
const channelWords: readonly (Question | Telling)[] = [
  'set_volts',
  'ask_set_volts',
  'set_amps',
  'ask_set_amps',
  'set_over_volts',
  'ask_over_volts',
  'over_volts_on',
  'ask_over_volts_on',
  'set_over_amps',
  'ask_over_amps',
  'over_amps_on',
  'ask_over_amps_on',
  'on',
  'off',
  'ask_output',
  'measure_volts',
  'measure_amps',
  'ask_over_volts_tripped',
  'ask_over_amps_tripped',
  'ask_over_heat_tripped',
  'ask_cc',
]
/** Said to the whole supply: no number of a channel is put in. */
const toWhole: ReadonlySet<string> = new Set([
  'identify',
  'clear',
  'remote',
  'local',
  'at_open',
  'error_query',
])

/** What can be judged of a dialect with the channels it is for. */
export function checkDialect(
  name: string,
  supply: Supply,
  at: (...path: Path) => Path,
  report: Report,
): void {
  const { dialect } = supply
  const path = at('dialect')
  const wrong = (what: string, remedy: string): void => {
    report.error(path, `dialect "${dialect.name}" of ${name}: ${what}`, remedy)
  }
  const said = channelWords.flatMap((key) => {
    const words = dialect[key]
    if (words === null || key === 'error_query') return []
    return [{ key, words: typeof words === 'string' ? words : words.query }]
  })
  const all = wordsOf(dialect)
  checkWords(dialect, all, wrong)
  for (const { key, words } of all) {
    const place = key in places ? places[key as Telling] : undefined
    if (place !== undefined && !words.includes(place))
      wrong(`${key} says "${words}", without ${place} where the number stands`, `write ${place} in it`)
    const allowed = [toWhole.has(key) ? undefined : '{n}', place, key === 'dead_man' ? '{s}' : undefined]
    for (const [found] of words.matchAll(/\{[^}]*\}/g))
      if (!allowed.includes(found))
        wrong(`${key} says "${words}", and ${found} stands for nothing there`, 'leave it out, or correct it')
  }
  checkChoice(name, supply, said, at, report)
  if (dialect.at_open.some((words) => words === dialect.off))
    wrong('at_open switches an output', 'leave it out: outputs are switched one by one, in their order')
  if (dialect.on === dialect.off) wrong('on and off are the same words', 'correct one')
  if ((dialect.set_over_volts === null || dialect.ask_over_volts === null) && hasOverVoltage(supply))
    wrong(
      'it has no words to set and ask an over-voltage level, but a channel is said to have one',
      'write set_over_volts and ask_over_volts, or over_voltage: false for the channels',
    )
  for (const [key, template] of Object.entries(dialect.answers))
    if (template.split('{x}').length !== 2)
      wrong(`answers.${key} is "${template}", without one {x}`, 'write {x} where the answer itself stands')
  const { ask_cc } = dialect
  if (ask_cc?.cv_mask !== null && ask_cc !== null && (ask_cc.mask & ask_cc.cv_mask) !== 0)
    wrong('one bit means constant current and constant voltage', 'correct mask or cv_mask of ask_cc')
  for (const line of [
    ...dialect.error_lines,
    ...(dialect.acknowledges === null ? [] : [dialect.acknowledges]),
  ])
    if (/^\s*[+-]?[\d.]|^\s*(on|off)\s*$/i.test(line))
      wrong(`the line "${line}" could be taken for an answer`, 'write the whole line, as the supply says it')
  checkDeadMan(name, supply, path, report)
}

function hasOverVoltage(supply: Supply): boolean {
  return Object.values(supply.channels).some(({ over_voltage }) => over_voltage)
}

function checkChoice(
  name: string,
  supply: Supply,
  said: readonly { readonly key: string; readonly words: string }[],
  at: (...path: Path) => Path,
  report: Report,
): void {
  const { dialect } = supply
  const count = Object.keys(supply.channels).length
  if (count < 2 || dialect.select !== null) return
  const without = said.filter(({ words }) => !words.includes('{n}'))
  if (without.length === said.length)
    report.error(
      at('channels'),
      `supply ${name} has ${count} channels, but its dialect has no words to choose one: every command would go to the same channel`,
      'write dialect: { based_on: plain SCPI, name: …, select: ":INST:NSEL {n};" } with the words of the supply',
    )
  else if (without.length > 0)
    report.error(
      at('dialect'),
      `dialect "${dialect.name}" of ${name}: ${without.map(({ key }) => key).join(', ')} would go to the same channel always, whichever is meant`,
      'write {n} where the number of the channel stands, or select',
    )
}

function checkDeadMan(name: string, supply: Supply, path: Path, report: Report): void {
  const { dead_man, select } = supply.dialect
  if (dead_man === null) return
  // Fed four times in its period; one missed reply and the question after it must fit in.
  if (dead_man.after_s < 2 * supply.reply_s)
    report.error(
      path,
      `the dead-man of ${name} fires after ${dead_man.after_s} s, and one reply may take ${supply.reply_s} s: a single slow answer would switch off`,
      'set it longer than twice reply_within, or shorten reply_within to what the supply really takes',
    )
  checkFed(name, supply, dead_man, path, report)
  const words = [
    ...dead_man.arm,
    ...(dead_man.disarm ?? []),
    ...(dead_man.feed === null ? [] : [dead_man.feed]),
  ]
  const bias = Object.values(supply.channels).some(({ role }) => role === 'bias')
  if (dead_man.per === 'supply' && bias && (dead_man.disarm ?? []).length === 0)
    report.warn(
      path,
      `the dead-man of ${name} cannot be put to rest (no disarm), and bias hangs on it: where a run, safe-off or a take-over ends with HT not confirmed off, the bias goes when it runs out, ${dead_man.after_s} s later`,
      'write its disarm words, or feed the bias from a supply without a dead-man',
    )
  const blind = words.filter((text) => !text.includes('{n}'))
  if (
    dead_man.per === 'output' &&
    select === null &&
    blind.length > 0 &&
    Object.keys(supply.channels).length > 1
  )
    report.error(
      path,
      `the dead-man of ${name} is one for each output, but "${blind[0] ?? ''}" does not say which`,
      'write {n} where the number of the channel stands, or per: supply',
    )
}

/**
 * It is fed between requests only: from the feeding before, a quarter of its time later, the longest request there is may stand in
 * the way. Where any message feeds it that is the longest word alone.
 */
function checkFed(
  name: string,
  supply: Supply,
  { after_s, feed }: NonNullable<Dialect['dead_man']>,
  path: Path,
  report: Report,
): void {
  const slowest_s = Math.max(0, ...Object.values(supply.dialect.slow_s))
  const busy_s = feed === null ? slowest_s : Math.max(switchOn_s(supply), unread_s(supply))
  if (busy_s <= unfed * after_s) return
  report.error(
    path,
    `the dead-man of ${name} fires after ${formatQuantity(after_s, 's')}, and switching on or setting may keep its line busy for ${formatQuantity(busy_s, 's')} with nothing wrong: it would take the outputs meanwhile`,
    `set it to ${formatQuantity(Math.ceil(busy_s / unfed), 's')} or longer, write slow: as short as the supply really needs, or give the line more speed`,
  )
}

/** Of its time, what is left once feeding is due. */
const unfed = 3 / 4

/** What a supply can and cannot do for a run beyond setting and switching, by what its dialect has words for: said in the plan. */
export function dialectPowers(
  dialect: Dialect,
  guarded: boolean,
  /** Proofs that came out against the supply, by what was proved. */
  against: Readonly<Record<string, string>> = {},
): { readonly can: readonly string[]; readonly cannot: readonly string[] } {
  const can: string[] = []
  const cannot: string[] = []
  const { dead_man } = dialect
  const disproved = against['dead-man']
  if (dead_man !== null && disproved !== undefined)
    cannot.push(
      `have the supply switch it off by itself: its dead-man was tried (${disproved}), so take it as having none`,
    )
  else if (dead_man !== null && guarded)
    can.push(
      `have the supply switch it off by itself ${dead_man.after_s} s after the computer has gone silent (its dead-man)`,
    )
  else if (dead_man !== null)
    cannot.push(
      'have the supply switch it off by itself: its dead-man guards HT only, and this must outlast HT',
    )
  else
    cannot.push(
      'have the supply switch it off by itself when computer and line are gone: it has no dead-man, and the output then stays at its last set-point, within the limits set for that step',
    )
  const said = against['current limit']
  if (said !== undefined)
    cannot.push(
      `be told that the supply limits current: at its limit it was tried (${said}), so only its measured current shows it`,
    )
  else if (dialect.ask_cc === null)
    cannot.push('be told that the supply limits current: a current near the limit is taken for it')
  const trips = [dialect.ask_over_volts_tripped, dialect.ask_over_amps_tripped, dialect.ask_over_heat_tripped]
  if (trips.every((words) => words === null))
    cannot.push('be told that a protection of the supply fired: only readings show it')
  if (dialect.error_query === null && dialect.error_lines.length === 0)
    cannot.push('be told why a setting was refused: only that it reads back differently')
  return { can, cannot }
}
