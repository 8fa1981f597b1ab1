import { formatQuantity, parseQuantity } from '../../quantities/index.js'
import { type Answers, isBattery, isPulled, isRectifier, type OwnPackAnswers } from './answers.js'
import { benchHead, handMeter } from './bench-text.js'
import { type Answer, type Asks, items, quantityOf, quantityOrNone } from './dialogue.js'
import { pair, yesOrNone } from './typed.js'
import { owner, q, v } from './yaml.js'

/* The set's own transformer: its questions, its part of the set's file, and the files of its two runs. */

/** Nothing on it, a winding stands somewhat above what it is marked for (common practice, no source). */
const unloaded = 1.05
const halves = ['T1 HT a', 'T1 HT b'] as const

type Known = Pick<Answers, 'chassis' | 'tubes' | 'HT_V'>

/** A set that has one, and whose chassis it parts from the mains; null where it is left out. */
export async function askOwnPack(dialogue: Asks, known: Known): Promise<OwnPackAnswers | null> {
  if (known.chassis === 'live' || isBattery(known)) return null
  const volts = await dialogue.ask({
    ask: 'Volts of its mains, if its own transformer is to be tried early and joined last, on a variable transformer that you turn?',
    fallback: '',
    read: quantityOrNone('V'),
  })
  if (volts === null) return null
  const [primary_ohm, fuse_A] = await dialogue.ask({
    ask: '   Ohms from pin to pin of its mains plug, its switch on; and its mains fuse?',
    fallback: null,
    read: (text) => pair(text, 'Ω', 'A'),
  })
  const HT = await dialogue.ask({
    ask: '   Volts of its HT winding, alternating, nothing on it: 350-0-350 V, or 250 V before a bridge? (the plate marked on the transformer, or the handbook)',
    fallback: null,
    read: readWinding,
  })
  const earthed = await dialogue.ask({
    ask: '   Does its mains cord join the chassis to earth? (yes or no)',
    fallback: 'no',
    read: yesOrNone,
  })
  return { volts, primary_ohm, fuse_A, half_V: HT.V, centre_tapped: HT.tapped, earthed: earthed === 'yes' }
}

/** "350-0-350 V", or one figure. */
function readWinding(text: string): Answer<{ readonly V: number; readonly tapped: boolean }> {
  const [, first, last] = /^(.*\d.*?)\s*[-–]\s*0\s*[-–]\s*(.*\d.*)$/.exec(text) ?? []
  if (items(text).length !== 1)
    return { ok: false, problem: 'one winding is wanted', remedy: 'write 350-0-350 V, or 250 V' }
  const read = quantityOf('V', 0, 5000)(last ?? text)
  if (!read.ok) return read
  const other = first === undefined ? null : parseQuantity(/[a-zµ]/i.test(first) ? first : `${first} V`, 'V')
  if (other !== null && (!other.ok || other.value !== read.value))
    return {
      ok: false,
      problem: 'the two halves are not alike',
      remedy: `write ${formatQuantity(read.value, 'V').replace(' V', '')}-0-${formatQuantity(read.value, 'V')}; halves that differ are written into the file by hand`,
    }
  return { ok: true, value: { V: read.value, tapped: other !== null } }
}

/** Its part of the set's file. */
export function ownPackText(a: Answers): string {
  const { own_pack: own } = a
  if (own === null) return ''
  const HT = own.centre_tapped ? halves : halves.slice(0, 1)
  const rectifiers = a.tubes.filter(isRectifier)
  const rectifier = rectifiers.find((tube) => isPulled(tube, a.chains))
  const windings = [
    ...HT.map((name) => `${name}: ${v(own.half_V, 'V')}`),
    ...(a.chains.length === 0
      ? []
      : a.heater_V.map((V, at) => `T1 heaters${at === 0 ? '' : ` ${at + 1}`}: ${v(unloaded * V, 'V')}`)),
  ]
  const kept =
    rectifier === undefined
      ? `    # How HT is kept off while heaters and bias are looked at, and the reservoir that charges all the same.
    opened_by: HT fuse out
    leaves_charged: reservoir`
      : `    rectifier: ${rectifier.name}
    opened_by: ${rectifier.name} out of its socket`
  return `
# Its own transformer: tried alone first (own-transformer.yaml), joined last of all (own-mains.yaml). Volts are effective, with
# nothing on them: heater windings are taken as 5 % above their heaters (common practice, no source); read them and correct.
own_mains:
  volts: ${v(own.volts, 'V')}
  transformer: T1
  primary: ${v(own.primary_ohm, 'Ω')}
  windings: { ${windings.join(', ')} }
  fuse: ${v(own.fuse_A, 'A')}
  HT:
    rail: HT
    halves: [${HT.join(', ')}]
${kept}
    read_at: milliammeter in place of the HT fuse, or in a wire that was lifted for it
  # Whether its cord joins the chassis to earth.
  earthed: ${own.earthed ? 'true' : 'false'}
  source: "${owner}"
`
}

/** Its bench, from which every supply is gone, and its two profiles: name → text. */
export function ownPackFiles(a: Answers, mode: string): Readonly<Record<string, string>> {
  if (a.own_pack === null) return {}
  return {
    'own-mains-bench.yaml': `# The bench for the set on its own pack: no supply at all, since every lead of one is off the set then.
${benchHead(a, `bench for ${a.name}, leads off`)}
supplies: {}

meters:
${handMeter(a, 'hand meter')}`,
    'own-transformer.yaml': profile(a, mode, 'own transformer alone', 'nothing on it', [
      'Its own mains transformer by itself, early: every tube out, nothing on its windings.',
      'Nobody but you can turn it down: stay with it.',
    ]),
    'own-mains.yaml': profile(a, mode, 'on its own pack', 'the set', [
      'The set on its own pack, last of all: after its bring-up on bench supplies, whose leads are off the set here.',
      'Nobody but you can turn it down: stay with it.',
    ]),
  }
}

const profile = (
  a: Answers,
  mode: string,
  name: string,
  joined: string,
  words: readonly string[],
): string => `${words.map((line) => `# ${line}`).join('\n')}
slowglow: profile 1
name: ${q(`${a.name}, ${name}`.slice(0, 200))}
kind: bring-up
equipment: equipment.yaml
bench: own-mains-bench.yaml
mode: ${q(mode)}
time_budget: 3 h
stages:
  - { do: own mains, with: ${joined} }
`
