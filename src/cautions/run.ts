import type { Figures, Plan } from '../plan/index.js'
import { formatQuantity } from '../quantities/index.js'
import { standingText } from './standing.js'

/** What each hazard of a set asks of the person. Wording ours; subjects are common knowledge of the trade. */
const hazards: Readonly<Record<string, string>> = {
  'live chassis':
    'LIVE CHASSIS: the metal of this set is joined to its mains. Isolating transformer in use, nothing earthed touched with it.',
  'HT on key jack':
    'HT ON THE KEY JACK: key, its lead and its metal are at HT. Use none but the insulated one.',
  'HT on phone jack': 'HT ON THE PHONE JACK: headphones can put HT on your head. Use a transformer or none.',
  'aerial behind blocking capacitor':
    'AERIAL TERMINAL behind one capacitor: if it leaks, the aerial is at HT. Check it, fit a choke to earth.',
  mercury: 'MERCURY in a rectifier or switch: do not break it; air the room, never sweep or vacuum a spill.',
  radium: 'RADIUM on dial or switches: do not scrape, wipe dry or blow; wash hands, no food at the bench.',
  'PCB oil': 'PCB OIL may be in capacitors or transformers: gloves, no skin contact, special waste.',
  asbestos: 'ASBESTOS in heat shields or leads: leave it, do not brush, drill or blow.',
  beryllia: 'BERYLLIA ceramic: its dust destroys lungs. Never file, break or grind it.',
  selenium:
    'SELENIUM rectifier: when it burns the smoke is poisonous. Smell of horseradish: power off, leave, air.',
  'X-rays': 'X-RAYS are made above some 15 kV: shields in place, nobody near.',
}

/** What a plan would not show, tried beforehand. */
interface Unseen {
  /** Faults that would burn a part before anything of the plan showed them, a sentence each. */
  readonly burning: readonly string[]
  /** How many faults it cannot show at all, in a sentence; null where there are none, or none was tried. */
  readonly never: string | null
}
const none: Unseen = { burning: [], never: null }

/**
 * The cautions of one run: its own figures and hazards first, then the standing text.
 *
 * @param figures - highest volts, stored energy and hazards as the plan computed them
 * @param plan - given where a plan exists: names the set, who can switch what, and what stays unproved
 * @param unseen - what was found by trying the set's faults against the plan
 */
export function cautionsFor(figures: Figures, plan?: Plan, unseen: Unseen = none): string {
  const lines = plan === undefined ? ['THIS RUN'] : [`THIS RUN: ${plan.profile} on ${plan.equipment}`]
  lines.push(`- Highest voltage: ${formatQuantity(figures.highest_V, 'V')}.`)
  lines.push(
    `- Stored at that voltage: ${joules(figures.stored_J)} (${figures.stored_where}).${weigh(figures.stored_J)}`,
  )
  lines.push(
    figures.discharge_s === null
      ? '- Time for that charge to fall to 60 V: not known. Take every capacitor as charged until you have measured it.'
      : `- Time for that charge to fall to 60 V through the known bleeders: about ${seconds(figures.discharge_s)}, if they are whole. Measure before touching.`,
  )
  for (const hazard of figures.hazards) lines.push(`- ${hazards[hazard] ?? hazard}`)
  if (unseen.never !== null) lines.push(`- ${unseen.never}`)
  if (plan !== undefined) lines.push(...letStand(plan), ...switchedByYou(plan), ...staysOn(plan))
  lines.push(...notShown(unseen.burning))
  if (figures.unattended) lines.push('- Parts of this run are unattended: see "Nobody else near" and "Fire".')
  return `${lines.join('\n')}\n\n${standingText}`
}

/** What nobody would be told of in time: looked for by hand, or taken as it is. */
function notShown(unseen: readonly string[]): string[] {
  if (unseen.length === 0) return []
  return [
    '- NOT SHOWN IN TIME: with one of these faults in the set a part burns before anything in this plan shows it. Look for them by hand, with the set off and its charge measured away, before you go on:',
    ...unseen.map((text) => `  - ${text}`),
  ]
}

/** What was found cold and let stand follows the set into every start. */
function letStand({ cold_checks }: Plan): string[] {
  const { waived = [], once_waived = [] } = cold_checks ?? {}
  return [
    ...waived.map(({ text }) => `- Found cold and WAIVED: ${text}`),
    ...once_waived.map((text) => `- Waived once: ${text}`),
  ]
}

function switchedByYou(plan: Plan): string[] {
  return Object.values(plan.rails)
    .filter((rail) => rail.class !== 'programmed')
    .map((rail) => `- ${rail.name} is switched by you alone: slowglow cannot take it off.`)
}

/** A dead-man that was seen not to take what it is stated to take. */
function staysOn({ supplies = [] }: Plan): string[] {
  return supplies.flatMap(({ stays_on }) => (stays_on === undefined ? [] : [`- ${stays_on}`]))
}

/** Thresholds of 0.25 J and 10 J: standards.md section 2, human effect of one discharge (second-hand). */
function weigh(stored_J: number): string {
  if (stored_J > 10) return ' More than 10 J: one discharge through a person can kill.'
  if (stored_J > 0.25) return ' More than 0.25 J: a heavy shock.'
  return ''
}

function joules(value_J: number): string {
  return value_J >= 10 ? `${value_J.toFixed(0)} J` : `${value_J.toFixed(2)} J`
}

function seconds(value_s: number): string {
  return value_s >= 120 ? `${Math.ceil(value_s / 60)} min` : `${Math.ceil(value_s)} s`
}
