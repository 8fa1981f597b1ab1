import type { Bench } from '../bench/index.js'
import type { Equipment } from '../equipment/index.js'
import { listed, parseQuantity, type Unit } from '../quantities/index.js'
import type { FaultSpec } from './types.js'

/** What a fault can be put on. */
type Target =
  | 'capacitor'
  | 'resistor'
  | 'tube'
  | 'lamp'
  | 'choke'
  | 'fuse'
  | 'rail'
  | 'supply'
  | 'line'
  | 'input'
  | 'timer'

interface Kind {
  /** What the value after `=` is; null = none is taken. */
  readonly value: Unit | 'rail' | 'reading' | null
  readonly needed: boolean
}
const plain: Kind = { value: null, needed: false }
const open: Readonly<Record<string, Kind>> = { open: plain }

/** Every fault there is, by what it is put on. */
export const faultKinds: Readonly<Record<Target, Readonly<Record<string, Kind>>>> = {
  capacitor: {
    short: { value: 'Ω', needed: false },
    leaky: { value: 'Ω', needed: true },
    open: plain,
    low: { value: 'ratio', needed: false },
    // Of electrolytics: how their leakage falls, where its rest stays, above which share of rated volts the oxide breaks down.
    'by-steps': plain,
    'by-exponentials': plain,
    slow: { value: 'ratio', needed: false },
    'runs-away': { value: 'ratio', needed: false },
  },
  resistor: { open: plain, short: plain, drift: { value: 'ratio', needed: true } },
  tube: {
    'heater-open': plain,
    gassy: { value: 'ratio', needed: false },
    'no-emission': plain,
    strong: { value: 'ratio', needed: true },
    weak: { value: 'ratio', needed: true },
    missing: plain,
    'no-drive': plain,
    'off-tune': { value: 'ratio', needed: false },
  },
  lamp: open,
  choke: { ...open, short: plain },
  fuse: open,
  rail: {
    'bias-lost': plain,
    swapped: { value: 'rail', needed: true },
    reversed: plain,
    'lead-off': plain,
    'drop-out': plain,
    'ignores-off': plain,
    trips: plain,
  },
  // `overheats`: its over-temperature protection fires; `local`: somebody has the panel, and it refuses to be set or switched off; `mis-sets`: what it is set to, times this;
  // `drifts`: what it gives moves away from what is set, to so many times that in a minute, and its own measurement shows it;
  // `reads-…`: its own measurement shows what is not so.
  supply: {
    'drop-out': plain,
    'ignores-off': plain,
    trips: plain,
    overheats: plain,
    'no-protection': plain,
    local: plain,
    'mis-sets': { value: 'ratio', needed: true },
    drifts: { value: 'ratio', needed: true },
    'reads-volts': { value: 'V', needed: true },
    'reads-amps': { value: 'A', needed: true },
  },
  // `endless`: replies that never end; `noise`: any bytes in their place; `echo`: what is said comes back before them;
  // `behind`: each comes one question late; `another`: the plug sits in another instrument, and ours hears nothing more.
  line: {
    silent: plain,
    garbled: plain,
    late: { value: 's', needed: true },
    endless: plain,
    noise: plain,
    echo: plain,
    behind: plain,
    another: plain,
  },
  // A lead off or a contact open; one that says nothing; one that stands still; one that shows what is not so.
  input: {
    open: plain,
    closed: plain,
    silent: plain,
    stuck: plain,
    reads: { value: 'reading', needed: true },
  },
  // Of an outside timer, by its supply (`timer.high`): never cuts; closes again by itself; does not close again once it has cut.
  timer: { stuck: plain, closed: plain, open: plain },
}

export type ParsedFault =
  | { readonly ok: true; readonly value: FaultSpec }
  | { readonly ok: false; readonly problem: string; readonly remedy: string }

const form =
  'Write PART:KIND[=VALUE][@WHEN], WHEN being t>600s, step=4 or RAIL>150V: C12:short@HT>150V, line.HT:silent@step=4'
const bad = (problem: string, remedy: string): ParsedFault => ({ ok: false, problem, remedy })

function when(text: string | undefined): FaultSpec['when'] | null {
  if (text === undefined) return { kind: 'always' }
  const step = /^step\s*=\s*(\d+)$/.exec(text)
  if (step !== null) return { kind: 'step', step: Number(step[1]) }
  const above = /^(.+?)\s*>\s*(.+)$/.exec(text)
  if (above === null) return null
  const left = (above[1] ?? '').trim()
  const value = parseQuantity(above[2] ?? '', left === 't' ? 's' : 'V')
  if (!value.ok) return null
  if (left === 't') return { kind: 'time', after_us: Math.round(value.value * 1e6) }
  return { kind: 'volts', rail: left, above_V: value.value }
}

/**
 * Reads a fault as written. Whether the part exists is `checkFault`'s question.
 *
 * @param can - kinds that a part of this set and bench can have (`faultsOf`), for a kind that is none; empty: no such part
 */
export function parseFault(text: string, can: (part: string) => readonly string[] = () => []): ParsedFault {
  const match = /^\s*([^:@=]+?)\s*:\s*([a-z-]+)\s*(?:=\s*([^@]+?))?\s*(?:@\s*(.+?))?\s*$/.exec(text)
  if (match === null) return bad(`"${text}" is not a fault`, form)
  const [, part = '', kind = '', given, at] = match
  const known = Object.values(faultKinds).flatMap((kinds) => Object.keys(kinds))
  if (!known.includes(kind)) {
    const own = can(part)
    return bad(
      `"${kind}" in "${text}" is no kind of fault`,
      own.length > 0 ? `${part} can be ${own.join(', ')}` : `Kinds are ${[...new Set(known)].join(', ')}`,
    )
  }
  const starts = when(at)
  if (starts === null) return bad(`"${at ?? ''}" in "${text}" does not say when`, form)
  const unit = Object.values(faultKinds).flatMap((kinds) => kinds[kind]?.value ?? [])[0]
  if (given !== undefined && unit === undefined) {
    return bad(`"${kind}" in "${text}" takes no value`, `Write ${part}:${kind}`)
  }
  const named = unit === 'rail'
  let value: number | null = null
  if (given !== undefined && unit !== undefined && unit !== 'rail') {
    const parsed =
      unit === 'reading'
        ? reading(given)
        : parseQuantity(unit === 'ratio' ? given.replace(/^[×x]/, '') : given, unit)
    if (!parsed.ok) return bad(`The value of "${text}": ${parsed.problem}`, parsed.remedy)
    value = parsed.value
  }
  return {
    ok: true,
    value: {
      part,
      kind,
      value,
      other: named && given !== undefined ? given : null,
      when: starts,
      text: text.trim(),
    },
  }
}

/** What a meter may show: volts, amps or a temperature, as its unit says. */
function reading(text: string): ReturnType<typeof parseQuantity> {
  const read = (['V', 'A', '°C'] as const).map((unit) => parseQuantity(text, unit))
  return read.find(({ ok }) => ok) ?? parseQuantity(text, '°C')
}

/** What `part` is in this set and bench, with the kinds of fault it can have; null = no such part. */
function targetsOf(part: string, equipment: Equipment, bench: Bench): readonly Target[] {
  const targets: Target[] = []
  const declared = equipment.parts[part]?.kind
  if (declared === 'capacitor' || equipment.rail_capacitors[part] !== undefined) targets.push('capacitor')
  if (declared === 'resistor' || declared === 'heater resistor') targets.push('resistor')
  if (declared === 'choke' || declared === 'winding') targets.push('choke')
  if (declared === 'fuse') targets.push('fuse')
  if (declared === 'lamp') targets.push('lamp')
  if (equipment.tubes[part] !== undefined) targets.push('tube')
  if (equipment.rails[part] !== undefined) targets.push('rail')
  const [supply = '', channel] = part.split('.')
  const found = bench.supplies[supply]
  if (found !== undefined && (channel === undefined || found.channels[channel] !== undefined)) {
    targets.push('supply')
  }
  if (part.startsWith('line.') && portNames(bench).includes(part.slice(5))) targets.push('line')
  if (part.startsWith('input.') && inputNames(bench).includes(part.slice(6))) targets.push('input')
  if (timerNames(bench).includes(part)) targets.push('timer')
  return targets
}

const timerNames = ({ outside_timer }: Bench): readonly string[] =>
  (outside_timer?.cuts ?? []).map((supply) => `timer.${supply}`)

/** Ports are named by their supply, or by their meter where a meter is on a line. */
export function portNames(bench: Bench): readonly string[] {
  const meters = Object.entries(bench.meters).filter(([, meter]) => meter.line !== null)
  return [...Object.keys(bench.supplies), ...meters.map(([name]) => name)]
}

/** Meters that something reads: on a line of their own or on a supply's. */
export function inputNames(bench: Bench): readonly string[] {
  return Object.entries(bench.meters).flatMap(([name, { line, on }]) =>
    line === null && on === null ? [] : [name],
  )
}

/** Names in the set or bench that resemble `part`, else all of them, so that a slip is seen at once. */
function known(part: string, equipment: Equipment, bench: Bench): readonly string[] {
  const all = [
    ...Object.keys(equipment.parts),
    ...Object.keys(equipment.rail_capacitors),
    ...Object.keys(equipment.tubes),
    ...Object.keys(equipment.rails),
    ...Object.keys(bench.supplies),
    ...portNames(bench).map((port) => `line.${port}`),
    ...inputNames(bench).map((name) => `input.${name}`),
    ...timerNames(bench),
  ]
  const near = all.filter((name) => name.toLowerCase().startsWith(part.slice(0, 1).toLowerCase()))
  return (near.length > 0 ? near : all).slice(0, 24)
}

/** Kinds of fault that a part, rail, supply, line or input of this set and bench can have; none where there is no such part. */
export function faultsOf(part: string, equipment: Equipment, bench: Bench): readonly string[] {
  const kinds = targetsOf(part, equipment, bench).flatMap((target) => Object.keys(faultKinds[target]))
  const contact = bench.meters[part.slice(6)]?.measures === 'contact'
  const cannot = [
    ...(equipment.rails[part]?.role === 'bias' ? [] : ['bias-lost']),
    ...(isDrivenIn(equipment, part) ? [] : ['no-drive', 'off-tune']),
    ...(isElectrolytic(equipment, part) ? [] : formingKinds),
    ...(!part.startsWith('input.') ? [] : contact ? ['reads'] : ['closed']),
  ]
  return [...new Set(kinds)].filter((kind) => !cannot.includes(kind))
}

const formingKinds = ['by-steps', 'by-exponentials', 'slow', 'runs-away']

function isElectrolytic(equipment: Equipment, name: string): boolean {
  const part = equipment.parts[name] ?? equipment.rail_capacitors[name]
  return part !== undefined && 'dielectric' in part && part.dielectric === 'electrolytic'
}

function isDrivenIn(equipment: Equipment, part: string): boolean {
  const tube = equipment.tubes[part]
  return tube?.driven !== undefined || tube?.sections.some(({ driven }) => driven !== undefined) === true
}

/** A fault as a person writes it, for this set and bench: what it is, or what is wrong with it. */
export function readFault(text: string, equipment: Equipment, bench: Bench): ParsedFault {
  const parsed = parseFault(text, (part) => faultsOf(part, equipment, bench))
  const misfit = parsed.ok ? checkFault(parsed.value, equipment, bench) : null
  return misfit === null ? parsed : { ok: false, ...misfit }
}

/** Whether this set and bench can have this fault; null when they can. */
export function checkFault(
  fault: FaultSpec,
  equipment: Equipment,
  bench: Bench,
): { readonly problem: string; readonly remedy: string } | null {
  const targets = targetsOf(fault.part, equipment, bench)
  if (targets.length === 0) {
    return {
      problem: `"${fault.part}" in "${fault.text}" is neither a part, tube or rail of ${equipment.name} nor a supply, line or input of ${bench.name}`,
      remedy: listed(
        'There are',
        known(fault.part, equipment, bench),
        'There is nothing that could be named here',
      ),
    }
  }
  const kind = targets.map((target) => faultKinds[target][fault.kind]).find((found) => found !== undefined)
  if (kind === undefined) {
    return {
      problem: `${fault.part} is a ${targets.join(' and a ')}, which cannot be "${fault.kind}"`,
      remedy: `It can be ${faultsOf(fault.part, equipment, bench).join(', ')}`,
    }
  }
  if (kind.needed && fault.value === null && fault.other === null) {
    return {
      problem: `"${fault.text}" needs a value`,
      remedy: `Write ${fault.part}:${fault.kind}=${kind.value === 'rail' ? 'RAIL' : kind.value === 'Ω' ? '220k' : kind.value === 's' ? '300ms' : kind.value === 'reading' ? '90 °C' : '2'}`,
    }
  }
  const input = bench.meters[fault.part.slice(6)]
  if (targets.includes('input') && fault.kind === 'closed' && input?.measures !== 'contact') {
    return {
      problem: `${fault.part} is no contact, so it cannot be closed`,
      remedy: 'It can be open, silent, stuck or reads=…',
    }
  }
  if (targets.includes('input') && fault.kind === 'reads' && input?.measures === 'contact') {
    return {
      problem: `${fault.part} is a contact: it shows no figure`,
      remedy: 'It can be open, closed, silent or stuck',
    }
  }
  const rails = Object.keys(equipment.rails)
  if (fault.other !== null && (!rails.includes(fault.other) || fault.other === fault.part)) {
    return {
      problem: `"${fault.other}" in "${fault.text}" is not another rail of ${equipment.name}`,
      remedy: listed('Its rails are', rails, 'It has no rail'),
    }
  }
  if ((fault.kind === 'no-drive' || fault.kind === 'off-tune') && !isDrivenIn(equipment, fault.part)) {
    return {
      problem: `${fault.part} is driven in no mode of ${equipment.name}`,
      remedy: 'Choose a tube that has driven: in the set file, or the tube that drives it with no-emission',
    }
  }
  if (formingKinds.includes(fault.kind) && !isElectrolytic(equipment, fault.part)) {
    return {
      problem: `${fault.part} is no electrolytic, and only those form`,
      remedy: `It can be ${faultsOf(fault.part, equipment, bench).join(', ')}`,
    }
  }
  if (fault.kind === 'bias-lost' && equipment.rails[fault.part]?.role !== 'bias') {
    const bias = rails.filter((name) => equipment.rails[name]?.role === 'bias')
    return {
      problem: `${fault.part} is not a bias rail`,
      remedy:
        bias.length > 0 ? `Bias rails are ${bias.join(', ')}` : 'This set has no bias rail: use lead-off',
    }
  }
  if (fault.when.kind === 'volts' && !rails.includes(fault.when.rail)) {
    return {
      problem: `"${fault.when.rail}" in "${fault.text}" is not a rail of ${equipment.name}`,
      remedy: listed('Its rails are', rails, 'It has no rail'),
    }
  }
  return null
}
