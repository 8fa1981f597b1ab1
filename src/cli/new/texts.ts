import { stringify } from 'yaml'
import { formatQuantity } from '../../quantities/index.js'
import {
  firstMode,
  type HeaterRail,
  heaterRails,
  isBattery,
  isPulled,
  isRectifier,
  isTransmitting,
  type Answers,
  type FedRail,
  railOf,
  type SupplyAnswers,
} from './answers.js'

/** The files that `slowglow new` writes: name → text. */
export function textsOf(answers: Answers): Readonly<Record<string, string>> {
  const heaters = Object.values(answers.heater_supplies)
  const supplies = [answers.HT_supply, ...heaters, answers.bias_supply].some((supply) => supply !== null)
  return {
    'equipment.yaml': equipmentText(answers),
    'bench.yaml': benchText(answers),
    ...(supplies && {
      'bench-by-hand.yaml': benchText({
        ...answers,
        HT_supply: null,
        heater_supplies: { heaters: null, heaters2: null },
        bias_supply: null,
        virtual: false,
      }),
    }),
    'reform.yaml': profileText(answers, 'reform'),
    [bringUpFile(answers.modes)]: profileText(answers, bringUpKind(answers.modes)),
  }
}

const bringUpKind = (modes: readonly string[]): 'transmit' | 'receive' =>
  isTransmitting(modes) ? 'transmit' : 'receive'

/** The profile of the first bring-up, by the name of its file. */
export function bringUpFile(modes: readonly string[]): 'transmit.yaml' | 'receive.yaml' {
  return `${bringUpKind(modes)}.yaml`
}

/** Text as YAML writes it on one line, in quotes where it needs them. */
const q = (text: string): string =>
  stringify(text, { lineWidth: 0, defaultStringType: 'PLAIN', blockQuote: false }).trim()
const v = formatQuantity
const owner = 'owner, asked by slowglow new'

function equipmentText(a: Answers): string {
  const heaters = a.chains.length > 0
  const hazards = a.chassis === 'live' ? ['live chassis'] : []
  return `# What slowglow knows of this set: a level-1 file, rails and tubes by type. It judges whole-rail currents; the plan
# says what it cannot judge. It may grow: handbook charts (charts:) and the circuit itself (parts:, and nodes at the
# tubes) are added later, and nothing here is thrown away. Quantities carry their units: 4k7, 250 V, 16 µF.
slowglow: equipment 1
name: ${q(a.name)}
chassis: ${a.chassis}
${isBattery(a) && a.chassis === 'isolated' ? `# Made for batteries: no mains plug, no mains transformer. Leave this out if it has a mains pack too.\npower: battery\n` : ''}${a.isolating_transformer === null ? '' : `isolating_transformer: ${q(a.isolating_transformer)}\n`}
# This set's own dangers, shown before every run. Add those that apply: HT on key jack, HT on phone jack,
# aerial behind blocking capacitor, mercury, radium, PCB oil, asbestos, beryllia, selenium, X-rays.
hazards: [${hazards.join(', ')}]

# The control positions that matter in each mode; you are asked to set them before anything is judged.
modes:
${a.modes.map((mode) => `  ${q(mode)}:\n    controls: {}\n`).join('')}
rails:
${heaters ? a.heater_V.map((V, at) => heaterRail(a, heaterRails[at] ?? 'heaters', V)).join('') : ''}${a.bias === null ? '' : biasRail(a.bias)}  HT:
    role: HT
    positive: HT line
    negative: chassis
    working: ${v(a.HT_V, 'V')}
    # Nothing ever goes above this: the lowest capacitor rating, or the working volts and a tenth.
    max: { value: ${v(a.HT_max_V, 'V')}, source: "${owner}" }
    feeds:
      # In the words of your set: you are asked to confirm them wire by wire.
      positive_at: positive tag of the HT reservoir
      negative_at: chassis
${pulled(a)}      lift: [${isBattery(a) ? 'positive lead of its HT battery' : "wire from the set's own rectifier to the reservoir"}]
${totals(a)}
# Capacitors on a rail, as marked.
rail_capacitors:
${a.capacitors.map(({ F, rated_V }, i) => `  C${i + 1}: { rail: HT, value: ${v(F, 'F')}, rated: ${v(rated_V, 'V')} }\n`).join('') || '  {}\n'}
tubes:
${a.tubes.map((tube) => `  ${tube.name}: { type: ${quoted(tube.type)}, rail: ${isRectifier(tube) && !isPulled(tube, a.chains) ? heatedFrom(a, tube.name) : 'HT'}${isPulled(tube, a.chains) ? ', pulled: true' : ''} }\n`).join('')}${mercuryWords(a)}
# Every heater has its place: elements of a list are in series, an inner list is in parallel.
heater_chains:
${a.chains.map((chain, i) => `  H${i + 1}: { rail: ${railOf(chain, a)}, series: [${chain.map((group) => (group.length === 1 ? (group[0] ?? '') : `[${group.join(', ')}]`)).join(', ')}] }\n`).join('') || '  {}\n'}`
}

/** Types that are digits only would be read as numbers. */
const quoted = (type: string): string => (/^[0-9.]+$/.test(type) ? `"${type}"` : q(type))

/** The heater rail of a tube that stands in a chain. */
function heatedFrom(a: Answers, name: string): HeaterRail {
  const chain = a.chains.find((each) => each.flat().includes(name))
  return chain === undefined ? 'heaters' : railOf(chain, a)
}

function heaterRail(a: Answers, rail: HeaterRail, V: number): string {
  const own = a.chains.filter((chain) => railOf(chain, a) === rail)
  const winding = a.heater_V.length > 1 ? `${v(V, 'V')} heater winding` : 'heater winding'
  return `${filamentWords(a.tubes, own)}  ${rail}:
    role: heater
    positive: ${rail === 'heaters' ? 'heater line' : 'second heater line'}
    negative: chassis
    working: ${v(V, 'V')}
    max: { value: ${v(V * 1.1, 'V')}, source: "common practice, no source: heaters to +10 %" }
    feeds:
      positive_at: ${a.heater_V.length > 1 ? `${v(V, 'V')} ` : ''}heater wire that is not at the chassis
      negative_at: chassis
      lift: [${isBattery(a) ? 'both leads of its filament battery' : `both wires of the mains transformer's ${winding}`}]
`
}

/** What a person must know of filaments on the bench's direct current, where the set has any. */
function filamentWords(tubes: Answers['tubes'], chains: Answers['chains']): string {
  const heated = new Set(chains.flat(2))
  const direct = tubes.filter(
    ({ name, record }) => heated.has(name) && record.filament_reference !== undefined,
  )
  if (direct.length === 0) return ''
  return `  # ${direct.map(({ name }) => name).join(', ')}: directly heated, so which end is positive is part of the bias: mark the leads.
  # Where a centre tap or a hum potentiometer joins the middle of this rail to chassis while the bench feeds it, the
  # supply may not be earthed: write negative: other heater wire, and earthed_at: centre tap (or hum potentiometer).
`
}

/** The half hour of a mercury-vapour rectifier, where the set has one. */
function mercuryWords({ tubes, chains }: Answers): string {
  return tubes
    .filter(({ record }) => record.mercury !== undefined)
    .map((tube) =>
      isPulled(tube, chains)
        ? `# ${tube.name} holds mercury: keep it upright. Back in its socket, write mercury: moved to it for its first run.\n`
        : `# ${tube.name} holds mercury: you are asked at each start whether it stands as it worked. New, or just moved: add\n# mercury: first use (or moved) to it, and its filament heats alone for half an hour at every start until you take it out.\n`,
    )
    .join('')
}

function biasRail(bias: NonNullable<Answers['bias']>): string {
  return `  bias:
    # The driven side is the negative one: positive lead to chassis.
    role: bias
    positive: chassis
    # The end at the grids: the lead goes there, and the meter.
    negative: grid return
    working: ${v(bias.V, 'V')}
    max: { value: ${v(bias.V * 1.2, 'V')}, source: "${owner}: a fifth more" }
    feeds:
      positive_at: chassis
      negative_at: grid return, the far end of the bias wiring
      lift: [wire from the set's own bias rectifier]
    # Read at the grid return, with its sign, before HT rises.
    required_bias: { node: grid return, at_least: ${v(-bias.least_V, 'V')}, nominal: ${v(-bias.V, 'V')}, preload: ${v(bias.preload_ohm, 'Ω')}, source: "${owner}" }
`
}

function pulled({ tubes, chains }: Answers): string {
  const names = tubes.filter((tube) => isPulled(tube, chains)).map(({ name }) => name)
  return names.length === 0 ? '' : `      pull: [${names.join(', ')}]\n`
}

function totals({ total, modes, HT_V }: Answers): string {
  const mode = firstMode(modes)
  if (total === null)
    return `    # The handbook's total, if you find it, sharpens every limit: totals: { ${mode}: { at: ${v(HT_V, 'V')}, current: 60 mA, source: … } }\n`
  return `    totals:\n      ${q(mode)}: { at: ${v(HT_V, 'V')}, current: ${v(total.A, 'A')}, source: "${total.source}" }\n`
}

function benchText(a: Answers): string {
  const supplies = [
    supplyText('high', 'out', 'HT', 'HT', a.HT_supply, 10),
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
  return `# The bench: what is on a line to this computer, and what a person sets and reads by hand.
${supplies.length === 0 ? '# Nothing is on a line: slowglow plans, asks, computes and keeps the record; you turn the knobs and switch off.\n' : '# Check every figure against the manual of the supply; slowglow qualify measures those that matter.\n'}slowglow: bench 1
name: ${q(`bench for ${a.name}`.slice(0, 200))}
kind: ${a.virtual ? 'virtual\nequipment: equipment.yaml\nseed: 1' : 'real'}

${supplies.length === 0 ? 'supplies: {}\n' : `supplies:\n${supplies.join('')}`}
meters:
  hand meter:
    # No line: you read it and type what it shows.
    measures: V
    resistance: ${v(a.meter.ohm, 'Ω')}
    resolution_volts: ${v(a.meter.resolution_V, 'V')}
    accuracy_volts: { of_reading: 1 %, plus: ${v(a.meter.resolution_V * 3, 'V')} }
    isolation: 600 V
${a.ammeters
  .filter(({ rail }) => !isSupplied(a, rail))
  .map(ammeterText)
  .join('')}`
}

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
    # What its outputs may be from earth, and whether they are isolated from the computer's line. unknown counts as no:
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

function profileText(a: Answers, kind: 'reform' | 'receive' | 'transmit'): string {
  const mode = firstMode(a.modes)
  const why =
    kind === 'reform'
      ? `# Forming the electrolytics with the tubes pulled or cold: HT rises in small steps with long holds. Stay with it.
# In the circuit their leakage is not judged. For a verdict lift each part and give it a feed resistor and a meter of its own:
# reform: { parts: { C1: { feed: 100k, feed_rated: 5 W } } } in place of tubes_cold, and in the bench file a meter at: C1 +, against: forming return.`
      : `# The first bring-up: hook-up check, heaters${a.bias === null ? '' : ', bias'}, then HT in steps from a low start.`
  return `${why}
# No stages are written here: the plan fills them in, each with its reason. See profiles/ for one written out.
slowglow: profile 1
name: ${q(`${a.name}, ${kind === 'reform' ? 'forming the electrolytics' : 'first bring-up'}`.slice(0, 200))}
kind: ${kind}
equipment: equipment.yaml
bench: bench.yaml
mode: ${q(mode)}
${kind === 'reform' ? 'tubes_cold: true\n' : '# When and how the electrolytics were formed, once they are:\n# electrolytics_formed: "…"\n'}`
}
