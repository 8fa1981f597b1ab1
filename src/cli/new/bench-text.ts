import { type Answers, type FedRail, heaterRails, type SupplyAnswers } from './answers.js'
import { q, v } from './yaml.js'

/* The bench files that `slowglow new` writes. */

/** The bench as a whole: supplies on a line, and what a person reads. */
export function benchText(a: Answers): string {
  const supplies = [
    highText(a),
    ...(a.chains.length === 0 ? [] : heaterRails).map((rail, at) =>
      supplyText(
        at === 0 ? 'heater supply' : 'second heater supply',
        'out',
        rail,
        'heater',
        a.heater_supplies[rail],
        20 + at,
      ),
    ),
    supplyText('bias supply', 'out', 'bias', 'bias', a.bias_supply, 30),
  ].filter((text) => text !== '')
  const about =
    supplies.length === 0
      ? 'Nothing is on a line: slowglow plans, asks, computes and keeps the record; you turn the knobs and switch off.'
      : 'Check every figure against the manual of the supply; slowglow qualify measures those that matter.'
  return `# The bench: what is on a line to this computer, and what a person sets and reads by hand.
# ${about}
${benchHead(a, `bench for ${a.name}`)}
${supplies.length === 0 ? 'supplies: {}\n' : `supplies:\n${supplies.join('')}`}${cutOffText(a)}
meters:
${handMeter(a, 'hand meter')}${a.ammeters
  .filter(({ rail }) => !isSupplied(a, rail))
  .map(ammeterText)
  .join('')}`
}

/** The first lines of a bench file, by the name of the bench. */
export function benchHead(a: Pick<Answers, 'virtual'>, name: string): string {
  return `slowglow: bench 1
name: ${q(name.slice(0, 200))}
kind: ${a.virtual ? 'virtual\nequipment: equipment.yaml\nseed: 1' : 'real'}
`
}

/** A voltmeter without a line; `at`: the nodes that it stays clipped to, where it does. */
export function handMeter({ meter }: Pick<Answers, 'meter'>, name: string, at = ''): string {
  return `  ${name}:
    # No line: you read it and type what it shows.
    measures: V
${at}    resistance: ${v(meter.ohm, 'Ω')}
    resolution_volts: ${v(meter.resolution_V, 'V')}
    accuracy_volts: { of_reading: 1 %, plus: ${v(meter.resolution_V * 3, 'V')} }
    isolation: 600 V
`
}

/** A relay outside of the HT supply, fed by the loop that judges readings. */
export function cutOffText({ cut_off }: Pick<Answers, 'cut_off'>): string {
  if (cut_off === null) return ''
  const { path, feed, after_s } = cut_off
  return `
# It cuts the HT of these supplies once nobody has fed it for that long; firmware-protocol/README.md says what it must do.
cut_off:
  line: ${path === null ? '{ kind: virtual, as: pty }' : `{ kind: serial, path: ${q(path)}, baud: 9600 }`}
  feed: ${q(feed)}
  after: ${v(after_s, 's')}
  cuts: [${highSupply}]
`
}

/** What the HT supply is called in these files. */
const highSupply = 'high'

/** The HT supply alone, as it stands on the bench. */
export const highText = (a: Pick<Answers, 'HT_supply'>): string =>
  supplyText(highSupply, 'out', 'HT', 'HT', a.HT_supply, 10)

/** A rail that a supply on a line feeds: that supply reads its current. */
function isSupplied(a: Answers, rail: FedRail): boolean {
  const supply = { HT: a.HT_supply, ...a.heater_supplies, bias: a.bias_supply }[rail]
  return supply !== null
}

function ammeterText({ rail, resolution_A }: Answers['ammeters'][number]): string {
  return `  ${rail} ammeter:
    # In series with the positive lead while the set runs; you read it and type what it shows.
    measures: A
    rail: ${rail}
    resistance: 1 Ω
    resolution_amps: ${v(resolution_A, 'A')}
    accuracy_amps: { of_reading: 2 %, plus: ${v(resolution_A * 3, 'A')} }
    isolation: 600 V
`
}

function supplyText(
  name: string,
  channel: string,
  rail: string,
  role: string,
  supply: SupplyAnswers | null,
  order: number,
): string {
  if (supply === null) return ''
  return `  ${name}:
    line: ${supply.path === null ? '{ kind: virtual, as: pty }' : `{ kind: serial, path: ${q(supply.path)}, baud: 9600 }`}
${supply.path === null ? '' : '    # Which instrument it is: until it is named here, whatever answers on the line is believed. Copy it from what\n    # slowglow supplies --bench bench.yaml shows:\n    # identity: "..."\n'}    # What its outputs may be from earth, and whether they are isolated from the computer's line. unknown counts as no:
    # an ohmmeter from the supply's negative to the shield of its line settles it.
    isolation: ${v(supply.isolation_V, 'V')}
    interface_isolated: ${supply.interface_isolated}
    channels:
      ${channel}:
        number: 1
        feeds: ${rail}
        role: ${role}
        max_volts: ${v(supply.max_V, 'V')}
        max_amps: ${v(supply.max_A, 'A')}
        resolution_volts: ${v(supply.resolution_V, 'V')}
        resolution_amps: ${v(supply.resolution_A, 'A')}
        set_digits_volts: ${digits(supply.resolution_V)}
        set_digits_amps: ${digits(supply.resolution_A)}
        accuracy_volts: { of_reading: 0.5 %, plus: ${v(supply.resolution_V * 3, 'V')} }
        accuracy_amps: { of_reading: 0.5 %, plus: ${v(supply.resolution_A * 3, 'A')} }
        output_capacitance: ${v(supply.output_F, 'F')}
        leads: 0.1 Ω
${supply.bleeder_ohm === null ? '' : `        # Clipped across its terminals before the first run: without it "off" could not be confirmed.\n        bleeder: ${v(supply.bleeder_ohm, 'Ω')}\n`}        off_order: ${order}
`
}

/** Digits after the point that a step of this size needs. */
const digits = (step: number): number =>
  step >= 1 ? 0 : step >= 0.1 ? 1 : step >= 0.01 ? 2 : step >= 0.001 ? 3 : 4
