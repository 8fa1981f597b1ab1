import { listed, own, type Path, type Report } from '../quantities/index.js'
import type { WrittenBench } from './shape.js'
import { toLimit } from './to-meter.js'
import type { Bench, Meter } from './types.js'

/** A meter as such: what it measures, where it stands, on whose line, and by what it is judged. */
export function checkMeter(
  name: string,
  meter: Meter,
  bench: Bench,
  broken: ReadonlySet<string>,
  report: Report,
): void {
  const at = (...path: Path): Path => ['meters', name, ...path]
  const read = meter.line !== null || meter.on !== null
  const electric = meter.measures === 'V' || meter.measures === 'A'
  if (electric && meter.resolution === 0)
    report.error(
      at(),
      `meter ${name} does not say its resolution`,
      `write resolution_${meter.measures === 'V' ? 'volts' : 'amps'}: the last digit it shows`,
      'key',
    )
  if (electric && meter.isolation_V === 0)
    report.error(
      at(),
      `meter ${name} does not say what its leads may be from earth`,
      'write isolation: from its manual or the mark beside its sockets, such as 600 V',
      'key',
    )
  if (electric && read && meter.at === null && meter.rail === null)
    report.error(
      at(),
      `meter ${name} is on a line, but does not say what it is clipped to`,
      'write at: with a node and against: chassis, or rail: with a rail',
      'key',
    )
  if (meter.at !== null && meter.measures === 'A')
    report.error(
      at('at'),
      `meter ${name} measures current: it stands in a rail, not at a node`,
      'write rail: with the rail it stands in',
    )
  if (!electric && (meter.at !== null || meter.rail !== null))
    report.error(
      at(meter.at === null ? 'rail' : 'at'),
      `${name} reads a ${meter.measures === 'contact' ? 'contact' : 'temperature'}: it is clipped to no node and stands in no rail`,
      'leave it out, and say in because what it guards',
    )
  if (electric && meter.at !== null && meter.against === null)
    report.error(
      at('at'),
      `meter ${name} has one lead at '${meter.at}'; the other is nowhere`,
      'write against: with the node of the other lead, mostly chassis',
    )
  checkLine(name, meter, bench, broken, report)
}

function checkLine(
  name: string,
  meter: Meter,
  bench: Bench,
  broken: ReadonlySet<string>,
  report: Report,
): void {
  const at = (...path: Path): Path => ['meters', name, ...path]
  if (meter.line !== null && meter.on !== null)
    report.error(
      at('on'),
      `meter ${name} has a line of its own and shares that of ${meter.on}`,
      'leave out one of the two',
    )
  // A supply that could not be read is there all the same, and is told where it stands.
  if (meter.on !== null && own(bench.supplies, meter.on) === undefined && !broken.has(`supplies.${meter.on}`))
    report.error(
      at('on'),
      `meter ${name} shares the line of '${meter.on}', which is no supply of this bench`,
      listed('supplies are', Object.keys(bench.supplies), 'this file has none that could be read'),
    )
  if (meter.on !== null && meter.rail !== null)
    report.error(
      at('rail'),
      `meter ${name} shares another instrument's line, and a rail is not judged by what waits its turn there`,
      'give it a line of its own, or clip it to a node: at:',
    )
  const asks =
    meter.line !== null ? meter.measures === 'contact' : meter.on !== null && meter.measures !== '°C'
  if (asks && meter.ask === null)
    report.error(
      at(),
      `nothing says how ${name} is asked for its ${meter.measures === 'contact' ? 'contact' : 'reading'}`,
      'write ask: with the question from its manual',
      'key',
    )
  if (meter.line === null && meter.on === null) {
    if (meter.measures === '°C' || meter.measures === 'contact')
      report.error(
        at(),
        `${name} is on no line, so nothing ever reads it`,
        'write line:, or on: with the supply whose line it shares',
        'key',
      )
    else if (meter.limits.length > 0 || meter.required)
      report.error(
        at('limits'),
        `${name} is read by a person, so nothing judges it while the run goes on`,
        'give it a line, or leave its limits out',
      )
  }
}

/** Limits that cannot be read, and those that speak of the wrong thing. */
export function checkLimits(
  name: string,
  { limits, measures }: WrittenBench['meters'][string],
  report: Report,
): void {
  limits.forEach((limit, i) => {
    const at: Path = ['meters', name, 'limits', i]
    if ((limit.warn === undefined) === (limit.trip === undefined))
      report.error(
        at,
        'a limit is one of warn and trip',
        'write warn: or trip:, and another item for the other',
      )
    else if (toLimit(limit, measures) === null)
      report.error(
        at,
        `'${limit.trip ?? limit.warn ?? ''}' is no limit of ${name}`,
        measures === 'contact'
          ? 'write open or closed: the state that must not be'
          : `write above or below and a value with its unit, such as above ${measures === '°C' ? '70 °C' : measures === 'V' ? '450 V' : '50 mA'}`,
      )
  })
}
