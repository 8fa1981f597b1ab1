import { formatQuantity, listed, type Path, type Report } from '../quantities/index.js'
import { channelNames, channelOf } from './channels.js'
import { checkDialect } from './check-dialect.js'
import { checkMeter } from './check-meter.js'
import { checkMeterWords } from './check-words.js'
import { unread_s } from './poll-time.js'
import type { Bench, Channel, Line, Supply } from './types.js'

/**
 * What can be judged of a bench without the set's file. `broken` names entries that could not be read: what they may
 * have held is not missed; `kindKnown` is false where the file does not say whether it is real or virtual.
 */
export function checkBench(
  bench: Bench,
  broken: ReadonlySet<string>,
  kindKnown: boolean,
  report: Report,
): void {
  if (kindKnown) checkKind(bench, report)
  for (const [name, supply] of Object.entries(bench.supplies))
    checkSupply(name, supply, bench.kind, broken, report)
  for (const [name, meter] of Object.entries(bench.meters))
    if (meter.feeds !== true) checkMeter(name, meter, bench, broken, report)
  checkMeterWords(bench, report)
  if (broken.size === 0) checkFeeds(bench, report)
  checkStale(bench, report)
  checkUnread(bench, report)
  checkPorts(bench, report)
}

function checkKind(bench: Bench, report: Report): void {
  const lines: [Path, Line | null][] = [
    ...Object.entries(bench.supplies).map(([name, { line }]): [Path, Line] => [
      ['supplies', name, 'line'],
      line,
    ]),
    ...Object.entries(bench.meters).map(([name, { line, feeds }]): [Path, Line | null] => [
      feeds === true ? ['cut_off', 'line'] : ['meters', name, 'line'],
      line,
    ]),
  ]
  for (const [path, line] of lines) {
    if (line === null) continue
    if (bench.kind === 'real' && line.kind === 'virtual')
      report.error(
        path,
        'a virtual line stands on a real bench',
        'write the serial port or network address, or kind: virtual for the bench',
      )
    if (bench.kind === 'real' && line.kind === 'serial' && /^\/dev\/tty(USB|ACM)\d+$/.test(line.path))
      report.warn(
        [...path, 'path'],
        `${line.path} is given to whatever is plugged in first, and changes when it is plugged in again`,
        'write its name under /dev/serial/by-id, or under /dev/serial/by-path where two adapters have the same: ls -l /dev/serial/by-id',
      )
    if (bench.kind === 'virtual' && line.kind !== 'virtual')
      report.error(
        path,
        'a real line stands on a virtual bench',
        'write line: { kind: virtual }, or kind: real for the bench',
      )
  }
  if (bench.kind === 'virtual' && bench.equipment === null)
    report.error(
      ['kind'],
      'a virtual bench needs a set behind it',
      'write equipment: with the relative path of the file of the set',
    )
  if (bench.kind === 'real' && (bench.equipment !== null || bench.faults.length > 0))
    report.error(
      [bench.equipment === null ? 'faults' : 'equipment'],
      'only a virtual bench has a set and faults in its file',
      'leave them out, or write kind: virtual',
    )
}

function checkSupply(
  name: string,
  supply: Supply,
  kind: Bench['kind'],
  broken: ReadonlySet<string>,
  report: Report,
): void {
  const at = (...path: Path): Path => ['supplies', name, ...path]
  const channels = Object.entries(supply.channels)
  if (channels.length === 0 && !broken.has(`supplies.${name}`))
    report.error(at('channels'), `supply ${name} has no channel`, 'write at least one under channels')
  const numbers = new Map<number, string>()
  for (const [channel, { number }] of channels) {
    const before = numbers.get(number)
    if (before !== undefined)
      report.error(
        at('channels', channel),
        `channels ${before} and ${channel} of ${name} have the same number ${number}`,
        'give each its own number: as on the line',
        'key',
      )
    numbers.set(number, channel)
  }
  checkDialect(name, supply, at, report)
  if (kind === 'real' && supply.identity === null && !broken.has(`supplies.${name}`))
    report.warn(
      at(),
      `nothing says which instrument ${name} is: whatever answers on its line is believed, also after its plug was moved`,
      `write identity: with what it answers, as slowglow supplies --bench FILE shows it`,
      'key',
    )
  for (const [channel, is] of channels) checkChannel(name, channel, is, at('channels', channel), report)
  const roles = [...new Set(channels.map(([, { role }]) => role))]
  // As in going off: whatever is neither heater nor bias may put volts on a plate or a screen.
  const hot = roles.filter((role) => role !== 'heater' && role !== 'bias')
  if (supply.dialect.dead_man?.per === 'supply' && roles.includes('bias') && hot.length > 0)
    report.error(
      at('dialect'),
      `supply ${name} feeds both bias and ${hot.join(' and ')}, and one dead-man timer acts on all its channels: ${hot.length > 1 ? 'they' : hot[0] === 'HT' ? 'HT' : 'that'} could not go off before bias`,
      'feed the bias from another supply, or one whose channels switch separately',
    )
  // An output is switched on with its limits set and read back, and watched from then on; the others would go on with it as they are.
  if (supply.common_output_switch && channels.length > 1)
    report.error(
      at('common_output_switch'),
      `one switch is for all outputs of ${name}: each ON would put all ${channels.length} of them on, at whatever the others are set to, before their limits are set and while nobody watches them`,
      `write only the channel that is used, and leave nothing connected to the others, set to zero at the panel; or use a supply whose outputs switch separately`,
    )
}

/** Bias and what is hot on one supply whose dead-man is said to take one output alone: bias must outlast HT, and hangs on that. */
export function biasBesideHot({ channels, dialect }: Supply): boolean {
  const roles = Object.values(channels).map(({ role }) => role)
  const hot = roles.some((role) => role !== 'heater' && role !== 'bias')
  return dialect.dead_man?.per === 'output' && hot && roles.includes('bias')
}

/** Steps of read-back current that a supply's highest must hold (common practice, no source). */
export const coarsest = 20

function checkChannel(supply: string, name: string, channel: Channel, at: Path, report: Report): void {
  const shown = `${supply}.${name}`
  if (channel.resolution_A > channel.max_A / coarsest)
    report.error(
      [...at, 'resolution_amps'],
      `channel ${shown} sees only steps of ${formatQuantity(channel.resolution_A, 'A')} of its ${formatQuantity(channel.max_A, 'A')}`,
      'check the figure; a supply this coarse cannot be judged by',
    )
  if (channel.min_V > channel.max_V)
    report.error(
      [...at, 'min_volts'],
      `channel ${shown} begins above its highest volts`,
      'exchange them, or correct one',
    )
  if (channel.min_A > channel.max_A)
    report.error(
      [...at, 'min_amps'],
      `channel ${shown} begins above its highest amps`,
      'exchange them, or correct one',
    )
  if (channel.bleeder_ohm !== null && (channel.max_V * channel.max_V) / channel.bleeder_ohm > 100)
    report.error(
      [...at, 'bleeder'],
      `${formatQuantity(channel.bleeder_ohm, 'Ω')} across ${formatQuantity(channel.max_V, 'V')} would burn ${formatQuantity((channel.max_V * channel.max_V) / channel.bleeder_ohm, 'W')}`,
      'check the value: bleeders are tens of kilohms',
    )
}

function checkFeeds(bench: Bench, report: Report): void {
  const feeding = new Map<string, string[]>()
  for (const [name, supply] of Object.entries(bench.supplies))
    for (const [channel, { feeds }] of Object.entries(supply.channels))
      feeding.set(feeds, [...(feeding.get(feeds) ?? []), `${name}.${channel}`])
  const stacked = new Set<string>()
  bench.stacks.forEach((stack, i) => {
    checkStack(bench, stack, ['stacks', i], report)
    for (const channel of stack.channels) stacked.add(channel)
  })
  for (const [rail, channels] of feeding) {
    const stack = bench.stacks.find((each) => each.rail === rail)
    if (channels.length < 2 || channels.every((channel) => stacked.has(channel))) continue
    const [supply = '', channel = ''] = (channels.findLast((each) => !stacked.has(each)) ?? '').split('.')
    report.error(
      ['supplies', supply, 'channels', channel, 'feeds'],
      `${channels.join(' and ')} both feed rail ${rail}: two sources on one reservoir`,
      stack === undefined
        ? 'let one feed it; or, if they stand in series, list them under stacks'
        : `add it to the stack of ${rail}, or let it feed another rail`,
    )
  }
}

/** Channels in series: each exists, feeds the stack's rail, can switch by itself, and floats no higher than it may. */
function checkStack(bench: Bench, stack: Bench['stacks'][number], at: Path, report: Report): void {
  if (stack.channels.length < 2)
    report.error(
      [...at, 'channels'],
      'a stack is two channels or more',
      'name them from the negative end up, or leave the stack out',
    )
  if (new Set(stack.channels).size < stack.channels.length)
    report.error([...at, 'channels'], 'a channel stands in the stack twice', 'name each once')
  let below_V = 0
  stack.channels.forEach((name, i) => {
    const found = channelOf(bench, name)
    if (found === null) {
      report.error(
        [...at, 'channels', i],
        `there is no channel '${name}'`,
        listed(
          'write SUPPLY.CHANNEL, one of',
          channelNames(bench),
          'this file has no channel that could be read: mend its supplies first',
        ),
      )
      return
    }
    const { supply, channel } = found
    if (channel.feeds !== stack.rail)
      report.error(
        [...at, 'channels', i],
        `${name} feeds rail ${channel.feeds}, not ${stack.rail}`,
        `write feeds: ${stack.rail} at the channel, or take it out of the stack`,
      )
    if (i > 0 && supply.earthed_negative)
      report.error(
        [...at, 'channels', i],
        `${name} has its negative joined to earth and cannot stand on another channel`,
        'put it lowest, or lift its earth link',
      )
    below_V += channel.max_V
    if (below_V > supply.isolation_V)
      report.error(
        [...at, 'channels', i],
        `${name} would stand at up to ${formatQuantity(below_V, 'V')} from earth, above its isolation of ${formatQuantity(supply.isolation_V, 'V')}`,
        'use fewer channels or lower volts in this stack',
      )
  })
}

/**
 * A reading of what is hot, or of bias, may be this old at most before it makes safe, s (our choice): so long nothing sees a
 * current rise or the bias go.
 */
const staleMost_s = 5

function checkUnread({ stale_s, supplies }: Bench, report: Report): void {
  for (const [name, supply] of Object.entries(supplies)) {
    const feeds = Object.values(supply.channels).flatMap((each) =>
      each.role === 'heater' ? [] : [each.feeds],
    )
    const old_s = stale_s ?? 1.5 * unread_s(supply)
    if (feeds.length === 0 || old_s <= staleMost_s) continue
    report.error(
      stale_s === null ? ['supplies', name, 'dialect'] : ['stale_after'],
      `readings of ${feeds.join(' and ')} from ${name} would count as fresh for ${formatQuantity(old_s, 's')}, and for so long nobody would see its current rise or its volts go; at most ${staleMost_s} s is allowed`,
      stale_s === null
        ? 'give the line more speed, write slow: as short as the supply really needs, or feed this from a faster supply or one with fewer channels'
        : `write ${staleMost_s} s or less, or leave it out`,
    )
  }
}

/** A line that is slower than the bench file lets a reading be old would trip with nothing wrong. */
function checkStale({ stale_s, supplies }: Bench, report: Report): void {
  if (stale_s === null) return
  for (const [name, supply] of Object.entries(supplies)) {
    const longest_s = unread_s(supply)
    if (longest_s <= stale_s) continue
    report.error(
      ['stale_after'],
      `a reading counts as stale after ${formatQuantity(stale_s, 's')}, and the line of ${name} may take ${formatQuantity(longest_s, 's')} to the next with nothing wrong: its bytes, its own time and its slow commands`,
      `write at least ${formatQuantity(1.5 * longest_s, 's')}, leave it out, or give the line more speed`,
    )
  }
}

function checkPorts(bench: Bench, report: Report): void {
  const ports = new Map<string, string>()
  const lines: readonly (readonly [table: string, name: string, line: Line | null])[] = [
    ...Object.entries(bench.supplies).map(([name, { line }]) => ['supplies', name, line] as const),
    ...Object.entries(bench.meters).map(([name, { line }]) => ['meters', name, line] as const),
  ]
  for (const [table, name, line] of lines) {
    if (line === null || line.kind === 'virtual') continue
    const port = line.kind === 'serial' ? line.path : `${line.host}:${line.port}`
    const before = ports.get(port)
    if (before === undefined) ports.set(port, name)
    else
      report.error(
        [table, name, 'line'],
        `${before} and ${name} have the same line ${port}`,
        'one line, one instrument: write the port of each; channels of one supply go under one supply',
      )
  }
  for (const name of Object.keys(bench.meters))
    if (Object.hasOwn(bench.supplies, name))
      report.error(
        ['meters', name],
        `the name ${name} is used twice: for a supply and for a meter`,
        'give each a name of its own',
        'key',
      )
}
