import type { Equipment, Hazard } from '../equipment/index.js'
import { look, practice } from './check.js'
import type { ColdCheck } from './types.js'

const list: readonly (readonly [item: string, what: string, because: string, method: string])[] = [
  [
    'look dust',
    'dust, nests, fluff in the variable capacitors and on high-voltage insulators',
    'it tracks and burns at HT',
    'Soft brush and a vacuum cleaner beside it; no compressed air into variable capacitors.',
  ],
  [
    'look corrosion',
    'corroded pins, lugs, chassis joints; green or white bloom',
    'a joint that was never mended shows under power as an open bias or an open bond',
    'Look with a lamp and a lens; tug each wire lightly with an insulated hook.',
  ],
  [
    'look leads',
    'each lead soldered at both ends; rubber and cloth insulation whole where it bends',
    'crumbled rubber is bare wire',
    'Bend nothing that is brittle; sleeve or replace it.',
  ],
  [
    'look wax',
    'wax or pitch run out of transformers and paper capacitors, bulged or weeping electrolytics',
    'what once got that hot is suspect',
    'Look below the chassis; weigh a finding against its winding and leak readings.',
  ],
  [
    'look burnt',
    'burnt or cracked resistors, black marks on sockets and tags',
    'it shows where the last fault was',
    'Look with a lamp; smell.',
  ],
  [
    'look controls',
    'controls, switches and variable capacitors move freely and stop where they should',
    'a forced switch breaks its wafer',
    'By hand, contact cleaner where it is needed.',
  ],
  [
    'look sockets',
    'sockets and pins cleaned, tubes reseated, each in its own place',
    'oxidised pins open a heater chain or a grid',
    'Contact cleaner on the pins, in and out three times; hold the base, not the glass.',
  ],
  [
    'look plugs',
    'plug, key, microphone and phone contacts and their cords bright and tight',
    'they carry send, bias or HT',
    'Clean; what is closed is read too, under contacts.',
  ],
  [
    'look fuses',
    'each fuse of the value and kind that the handbook names',
    'a larger one protects nothing',
    'Read the cap, not the label beside the holder.',
  ],
  [
    'look mains',
    'mains cord, plug, switch and strain relief whole; earth conductor joined',
    'it is the first thing that kills',
    'Pull, bend, look under the clamp; replace when in doubt.',
  ],
  [
    'look modifications',
    'no lethal modification: a chassis on a mains pin, bypassed interlocks, missing covers, HT on a jack that never had it',
    'earlier owners had their reasons, and they are not here to tell',
    'Hold what is there against the diagram.',
  ],
]

const ofHazard: Partial<Record<Hazard, readonly [what: string, method: string]>> = {
  'PCB oil': [
    'oil-filled capacitors and transformers dry outside',
    'Gloves; nothing that weeps is opened or wiped away: bag it for hazardous waste.',
  ],
  asbestos: [
    'asbestos sheet or sleeving whole and undisturbed',
    'Nothing of it is brushed, drilled or blown.',
  ],
  radium: ['luminous paint behind glass and not flaking', 'Do not open the dial; no brush.'],
  mercury: ['mercury-vapour tubes and relays whole', 'A broken one is no matter for a vacuum cleaner.'],
  beryllia: ['beryllia parts whole', 'Never filed, drilled or broken.'],
  selenium: [
    'selenium rectifier without burnt or pitted plates',
    'One that burns gives off poison: air the room, get out.',
  ],
}

/** What eyes, nose and hands find with the set cold, unplugged and discharged. */
export function lookChecks({ hazards }: Equipment): ColdCheck[] {
  const common = {
    source: practice,
    cautions: ['Unplugged, and its stored charge measured first: an insulated tool, one hand.'],
  }
  return [
    ...list.map(([item, what, because, method]) => look({ ...common, item, what, because, method })),
    ...hazards.flatMap((hazard) => {
      const own = ofHazard[hazard]
      if (own === undefined) return []
      const [what, method] = own
      return [look({ ...common, item: `look ${hazard}`, what, because: `this set has ${hazard}`, method })]
    }),
  ]
}
