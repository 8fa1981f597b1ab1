import { type Equipment, type PartName, recordOf, sectionName, type Tube } from '../equipment/index.js'
import { afloat_ohm, broken_ohm, shorted_ohm, joint, link, wiper } from './bed.js'
import { mistaken } from './sockets.js'
import { kilo, pairText, sized } from './told.js'
import type { Change, Fault, FaultKind } from './types.js'
import { weights } from './weights.js'

/*
 * Every part's single faults, made from the set's file. Severities are ones that a repairer would call a fault (common
 * practice, no source); each stands for its neighbours too.
 */
const drifted = 2
/** Leakage that a damp paper capacitor has left, and of an electrolytic that was never formed: the volts at its rating over 10 mA. */
const paper_ohm = 1e6
const leaks_A = 0.01
const weak = 0.3
const strong = 2
/** Grid current over plate current of a gassy tube. */
const gas = 0.004
/** Heater to cathode, broken down. */
const heaterLeak_ohm = 100

const leakyDiode_ohm = 10e3

/** All single faults of a set with a circuit; none at levels 1 and 2, whose files say no circuit to change. */
export function faultsOf(equipment: Equipment): Fault[] {
  if (equipment.level < 3) return []
  const faults: Fault[] = []
  const add = (
    part: PartName,
    of: string,
    kind: FaultKind,
    text: string,
    changes: readonly Change[],
    value = '',
    heater: PartName | null = null,
  ): void => {
    const weight = weights[of]?.[kind] ?? 0
    const shorted = kind === 'heater-short' ? ({ heater_shorted: true } as const) : {}
    if (weight > 0)
      faults.push({ fault: `${part}:${kind}${value}`, part, kind, text, weight, changes, heater, ...shorted })
  }
  const resistance = (element: string, ohm: number): Change => ({ element, is: 'resistance', ohm })
  const heated = new Set(Object.values(equipment.heater_chains).flatMap(({ series }) => series.flat()))
  for (const [name, part] of Object.entries(equipment.parts)) {
    const opens = (of: string): void => {
      add(name, of, 'open', `${name} open`, [resistance(name, broken_ohm)])
    }
    const shorts = (of: string): void => {
      add(name, of, 'short', `${name} shorted`, [resistance(name, shorted_ohm)])
    }
    switch (part.kind) {
      case 'resistor': {
        const of = part.make === 'film' ? 'resistor' : part.make
        opens(of)
        shorts(of)
        add(
          name,
          of,
          'drift',
          sized.drift(name, String(drifted)),
          [{ element: name, is: 'ohm times', by: drifted }],
          `=${drifted}`,
        )
        break
      }
      case 'potentiometer': {
        const halves = ['a', 'b'].map((half) => `${name}.${half}`)
        add(
          name,
          'potentiometer',
          'open',
          `${name}: track open`,
          halves.map((half) => resistance(half, broken_ohm)),
        )
        // A rheostat's whole track is left in the circuit.
        const [first] = part.ends
        const rest = resistance(part.wiper === first ? `${name}.b` : `${name}.a`, part.ohm)
        add(name, 'potentiometer', 'wiper-open', `${name}: its wiper does not touch`, [
          part.ends.includes(part.wiper) ? rest : resistance(wiper(name), broken_ohm),
        ])
        break
      }
      case 'capacitor': {
        shorts(part.dielectric)
        const ohm = part.dielectric === 'electrolytic' ? Math.round(part.rated_V / leaks_A) : paper_ohm
        add(
          name,
          part.dielectric,
          'leaky',
          sized.leaks(name, kilo(ohm)),
          [{ element: name, is: 'leaks', ohm }],
          `=${ohm / 1000}k`,
        )
        add(name, part.dielectric, 'open', `${name} open`, [])
        add(name, part.dielectric, 'low', `${name} dried out`, [])
        break
      }
      case 'choke':
      case 'winding':
        opens('winding')
        add(name, 'winding', 'short', `${name}: shorted turns`, [resistance(name, shorted_ohm)])
        break
      case 'contact':
        add(name, 'contact', 'open', `${name} does not close`, [
          { element: name, is: 'contact', closed: false },
        ])
        add(name, 'contact', 'stuck', `${name} stuck closed`, [
          { element: name, is: 'contact', closed: true },
        ])
        break
      case 'fuse':
        opens('fuse')
        break
      case 'diode':
        opens('diode')
        shorts('diode')
        // What selenium and copper oxide come to in decades: it conducts both ways.
        add(
          ...([name, 'diode', 'leaky', sized.leaksBackwards(name, kilo(leakyDiode_ohm))] as const),
          [{ element: link(name, 'backwards'), is: 'leaks', ohm: leakyDiode_ohm }],
          `=${leakyDiode_ohm / 1000}k`,
        )
        break
      case 'lamp':
        if (heated.has(name)) add(name, 'lamp', 'open', `${name} burnt out`, [], '', name)
        else opens('lamp')
        break
      case 'heater resistor':
        if (heated.has(name)) add(name, 'wirewound', 'open', `${name} open`, [], '', name)
        break
    }
  }
  for (const [name, tube] of Object.entries(equipment.tubes))
    if (tube.pulled !== true) addTube(equipment, name, tube, heated.has(name), add)
  for (const [name, { role }] of Object.entries(equipment.rails)) {
    if (role === 'heater') continue
    const off: Change[] = [{ element: name, is: 'resistance', ohm: broken_ohm }]
    if (role === 'bias') add(name, 'rail', 'bias-lost', `the lead of ${name} is off`, off)
    else add(name, 'rail', 'lead-off', `the lead of ${name} is off`, off)
  }
  return faults
}

type Add = (
  part: PartName,
  of: string,
  kind: FaultKind,
  text: string,
  changes: readonly Change[],
  value?: string,
  heater?: PartName | null,
) => void

function addTube(equipment: Equipment, name: PartName, tube: Tube, heated: boolean, add: Add): void {
  const record = recordOf(tube)
  const sections = tube.sections.map((section, i) => ({
    section,
    element: sectionName(name, tube.sections.length, i),
    form: record?.sections[i]?.model?.form ?? null,
  }))
  if (sections.length === 0) return
  const regulator = sections.every(({ form }) => form === 'regulator')
  const of = regulator ? 'regulator' : 'tube'
  const all = (change: (element: string) => Change): Change[] =>
    sections.map(({ element }) => change(element))
  const dead = all((element) => ({ element, is: regulator ? 'dark' : 'emission times', by: 0 }))
  const jumper: Change[] =
    tube.jumper === undefined ? [] : [{ element: `${name}.jumper`, is: 'resistance', ohm: broken_ohm }]
  add(name, of, 'missing', `${name} missing`, [...dead, ...jumper], '', heated ? name : null)
  add(name, of, 'no-emission', regulator ? `${name} does not strike` : `${name} has no emission`, dead)
  for (const { type, changes } of mistaken(equipment, name, tube, (i) => sections[i]?.element ?? name))
    add(name, of, 'wrong-type', `${name}: a ${type} stands in its socket`, changes, `=${type}`)
  if (regulator) return
  if (heated) {
    add(name, of, 'heater-open', `the heater of ${name} is open`, dead, '', name)
    add(name, of, 'heater-short', `the heater of ${name} is shorted`, dead, '', name)
  }
  add(
    name,
    of,
    'weak',
    sized.weak(name, String(100 * weak)),
    all((element) => ({ element, is: 'emission times', by: weak })),
    `=${weak}`,
  )
  add(
    name,
    of,
    'strong',
    sized.strong(name, String(strong)),
    all((element) => ({ element, is: 'emission times', by: strong })),
    `=${strong}`,
  )
  const gridded = sections.filter(
    ({ section, form }) => section.grid !== undefined && (form === 'triode' || form === 'screen'),
  )
  if (gridded.length > 0)
    add(
      name,
      of,
      'gassy',
      `${name} is gassy`,
      gridded.map(({ element }) => ({ element, is: 'gas', of_plate: gas })),
    )
  for (const { section, element, form } of sections) {
    const which = sections.length === 1 ? '' : ` (section ${element.slice(name.length + 1)})`
    const value = sections.length === 1 ? '' : `=${element.slice(name.length + 1)}`
    if (form !== 'triode' && form !== 'screen' && form !== 'diode') continue
    if (form === 'diode')
      add(
        ...([name, of, 'short', `${name}: plate touches cathode${which}`] as const),
        [{ element: link(element, 'plate-cathode'), is: 'resistance', ohm: shorted_ohm }],
        value,
      )
    if (section.grid !== undefined && section.grid !== section.cathode)
      add(
        name,
        of,
        'grid-short',
        `${name}: grid touches cathode${which}`,
        [{ element: link(element, 'grid-cathode'), is: 'resistance', ohm: shorted_ohm }],
        value,
      )
    if (section.grid !== undefined && section.grid !== section.cathode)
      // Neither bias nor drive reaches it: the tube draws what it draws without.
      add(
        name,
        of,
        'grid-open',
        `${name}: nothing reaches its grid pin${which}`,
        [
          { element: joint(element, 'grid'), is: 'resistance', ohm: broken_ohm },
          { element: link(element, 'grid-cathode'), is: 'resistance', ohm: afloat_ohm },
        ],
        value,
      )
    add(
      name,
      of,
      'cathode-open',
      `${name}: nothing reaches its cathode pin${which}`,
      [{ element, is: 'emission times', by: 0 }],
      value,
    )
    if (section.cathode !== equipment.chassis_node && heated)
      add(
        name,
        of,
        'heater-leak',
        `${name}: heater to cathode broken down${which}`,
        [{ element: link(element, 'heater-cathode'), is: 'resistance', ohm: heaterLeak_ohm }],
        value,
      )
    add(
      name,
      of,
      'plate-open',
      `${name}: nothing reaches its plate pin${which}`,
      [
        form === 'diode'
          ? { element, is: 'emission times', by: 0 }
          : { element: joint(element, 'plate'), is: 'resistance', ohm: broken_ohm },
      ],
      value,
    )
    if (
      form !== 'screen' ||
      section.screen === undefined ||
      section.screen === section.plate ||
      section.triode_connected === true
    )
      continue
    add(name, of, 'screen-open', `${name}: nothing reaches its screen pin`, [
      { element: joint(element, 'screen'), is: 'resistance', ohm: broken_ohm },
    ])
    add(name, of, 'screen-short', `${name}: screen touches plate`, [
      { element: link(element, 'plate-screen'), is: 'resistance', ohm: shorted_ohm },
    ])
  }
}

/** The likeliest pairs of single faults that stand in different parts; a second fault is no likelier than a first. */
export function doubleFaults(single: readonly Fault[], most: number): Fault[] {
  const total = single.reduce((sum, { weight }) => sum + weight, 0)
  const likely = [...single]
    .filter(({ changes, heater }) => changes.length > 0 || heater !== null)
    .sort((a, b) => b.weight - a.weight)
    .slice(0, Math.ceil(Math.sqrt(4 * most)))
  const pairs: Fault[] = []
  for (const [at, a] of likely.entries())
    for (const b of likely.slice(at + 1)) {
      if (a.part === b.part || (a.heater !== null && b.heater !== null)) continue
      pairs.push({
        ...a,
        fault: `${a.fault} + ${b.fault}`,
        text: pairText(a, b),
        weight: (a.weight * b.weight) / total,
        changes: [...a.changes, ...b.changes],
        heater: a.heater ?? b.heater,
        ...(a.heater === null && b.heater_shorted === true && { heater_shorted: true }),
        with: b.fault,
      })
    }
  return pairs.sort((a, b) => b.weight - a.weight).slice(0, most)
}
