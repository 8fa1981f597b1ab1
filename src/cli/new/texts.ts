import { benchText } from './bench-text.js'
import { formingBench, formingProfiles } from './forming.js'
import { ownPackFiles, ownPackText } from './own-pack.js'
import { owner, q, v } from './yaml.js'
import {
  firstMode,
  type HeaterRail,
  heaterRails,
  isBattery,
  isLamp,
  isPulled,
  isRectifier,
  isTransmitting,
  type Answers,
  railOf,
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
        cut_off: null,
        virtual: false,
      }),
    }),
    ...(answers.forming === null
      ? { 'reform.yaml': profileText(answers, 'reform') }
      : {
          'forming-bench.yaml': formingBench(answers),
          ...formingProfiles(answers, answers.forming),
        }),
    ...ownPackFiles(answers, firstMode(answers.modes)),
    [bringUpFile(answers.modes)]: profileText(answers, bringUpKind(answers.modes)),
  }
}

const bringUpKind = (modes: readonly string[]): 'transmit' | 'receive' =>
  isTransmitting(modes) ? 'transmit' : 'receive'

/** The profile of the first bring-up, by the name of its file. */
export function bringUpFile(modes: readonly string[]): 'transmit.yaml' | 'receive.yaml' {
  return `${bringUpKind(modes)}.yaml`
}

/** A set is found by this whatever its file is called later; a name without a letter or digit makes none. */
function idLines(name: string): string {
  const id = name
    .toLowerCase()
    .replaceAll(/[^\p{L}\p{N}]+/gu, '-')
    .slice(0, 60)
    .replaceAll(/^-+|-+$/g, '')
  return id === ''
    ? ''
    : `# Its book lies beside this file as ${id}.book, whatever this file is called later: give no two sets the same.\nid: ${q(id)}\n`
}

function equipmentText(a: Answers): string {
  const heaters = a.chains.length > 0
  const hazards = a.chassis === 'live' ? ['live chassis'] : []
  return `# What slowglow knows of this set: a level-1 file, rails and tubes by type. It judges whole-rail currents; the plan
# says what it cannot judge. It may grow: handbook charts (charts:) and the circuit itself (parts:, and nodes at the
# tubes) are added later, and nothing here is thrown away. Quantities carry their units: 4k7, 250 V, 16 µF.
slowglow: equipment 1
name: ${q(a.name)}
${idLines(a.name)}chassis: ${a.chassis}
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
${a.tubes
  .filter((tube) => !isLamp(tube))
  .map(
    (tube) =>
      `  ${tube.name}: { type: ${quoted(tube.type)}, rail: ${isRectifier(tube) && !isPulled(tube, a.chains) ? heatedFrom(a, tube.name) : 'HT'}${isPulled(tube, a.chains) ? ', pulled: true' : ''} }\n`,
  )
  .join('')}${mercuryWords(a)}${lampText(a)}
# Every heater has its place: elements of a list are in series, an inner list is in parallel.
heater_chains:
${a.chains.map((chain, i) => `  H${i + 1}: { rail: ${railOf(chain, a)}, series: [${chain.map((group) => (group.length === 1 ? (group[0] ?? '') : `[${group.join(', ')}]`)).join(', ')}] }\n`).join('') || '  {}\n'}${ownPackText(a)}`
}

/** Types that are digits only would be read as numbers. */
const quoted = (type: string): string => (/^[0-9.]+$/.test(type) ? `"${type}"` : q(type))

/** Dial lamps draw from their chain alone. */
function lampText({ tubes }: Answers): string {
  const lamps = tubes.filter(isLamp)
  return lamps.length === 0
    ? ''
    : `\n# Dial lamps.\nparts:\n${lamps.map(({ name, type }) => `  ${name}: { kind: lamp, type: ${quoted(type)} }\n`).join('')}`
}

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
