import { bleederFor } from '../../bench/index.js'
import { formatQuantity } from '../../quantities/index.js'
import {
  type Answers,
  type FedRail,
  firstMode,
  type HeaterRail,
  heaterRails,
  isTransmitting,
  type SupplyAnswers,
  type TubeAnswer,
} from './answers.js'
import { askForming } from './forming.js'
import { askOwnPack } from './own-pack.js'
import { type Asks, oneOf, quantityOf, quantityOrNone, word } from './dialogue.js'
import {
  readAmmeters,
  readHeaterVolts,
  withDigits,
  biasOrNone,
  pair,
  steps,
  yesOrNone,
  portOrNone,
  readModes,
  readTypes,
  readTube,
  readChains,
  readCapacitors,
  readFeed,
} from './typed.js'

export async function askAll(dialogue: Asks): Promise<Answers> {
  const name = await dialogue.ask({ ask: 'What is the set called?', fallback: null, read: word })
  const chassis = await dialogue.ask({
    ask: 'Is its metal chassis isolated from the mains, or live?',
    fallback: 'isolated',
    read: oneOf(['isolated', 'live']),
  })
  const isolating_transformer =
    chassis === 'isolated'
      ? null
      : await dialogue.ask({
          ask: 'Which isolating transformer is it worked on? (without one slowglow refuses the set)',
          fallback: null,
          read: word,
        })
  const modes = await dialogue.ask({
    ask: 'Its modes, parted by commas?',
    fallback: 'receive',
    read: readModes,
  })
  const heater_V = await dialogue.ask({
    ask: 'Volts of its heater supply? (two, parted by a comma, where windings of other volts need one each)',
    fallback: '6.3 V',
    read: readHeaterVolts,
  })
  const tubes = await askTubes(dialogue)
  const chains = await dialogue.ask({
    ask: `Its heaters: in series joined by a dash, chains parted by commas (V1-V2, V3-V4), or parallel? (a rectifier whose heater stands in a chain is named in it and stays in its socket)`,
    fallback: 'parallel',
    read: (text) => readChains(text, tubes, heater_V),
  })
  const HT_V = await dialogue.ask({
    ask: 'Working volts of its HT?',
    fallback: '250 V',
    read: quantityOf('V', 0, 5000),
  })
  const total = await dialogue.ask({
    ask: `The handbook's total HT current at these volts, in ${firstMode(modes)}${isTransmitting(modes) ? ', key up and undriven' : ''}?`,
    fallback: '',
    read: quantityOrNone('A'),
  })
  const capacitors = await dialogue.ask({
    ask: 'Its HT electrolytics, as 16 µF 450 V, parted by commas?',
    fallback: null,
    read: (text) => readCapacitors(text, HT_V),
  })
  const bias_V = await dialogue.ask({
    ask: 'Volts of a separate negative grid bias supply, if it has one? (-50 V and 50 V are the same here)',
    fallback: '',
    read: biasOrNone,
  })
  const bias =
    bias_V === null
      ? null
      : {
          V: bias_V,
          least_V: await dialogue.ask({
            ask: 'The least bias that keeps its tubes safe, as the handbook says?',
            fallback: null,
            read: (text) => quantityOf('V', 0, bias_V)(text.replace(/^[-−]/, '')),
          }),
          preload_ohm: await dialogue.ask({
            ask: `The preload you fit from the grid return to chassis, at the grid-return end? (it takes up grid current, and its own shows that the lead is whole: without it HT above 60 V is refused; ${formatQuantity(10e3, 'Ω')}, ${formatQuantity(Math.max(1, Math.ceil((2 * bias_V * bias_V) / 10e3)), 'W')} is usual)`,
            fallback: formatQuantity(10e3, 'Ω'),
            read: quantityOf('Ω'),
          }),
        }
  const virtual = await dialogue.ask({
    ask: 'Real supplies, or the virtual bench to try things out?',
    fallback: 'real',
    read: oneOf(['real', 'virtual']),
  })
  const on = (what: string) =>
    virtual === 'virtual'
      ? `Is a ${what} supply on a line? (yes or no)`
      : `Serial port of the ${what} supply, if slowglow is to set it?`
  const heaters = heater_V.map((V, at) => ({
    rail: heaterRails[at] ?? 'heaters',
    V,
    called: heater_V.length > 1 ? `${formatQuantity(V, 'V')} heater` : 'heater',
  }))
  const rails: readonly FedRail[] = [
    'HT',
    ...heaters.map(({ rail }) => rail),
    ...(bias === null ? [] : (['bias'] as const)),
  ]
  // Nothing may put more on the electrolytics than they are marked for, nor much more than the set ever had.
  const HT_max_V = Math.min(HT_V * 1.1, ...capacitors.map(({ rated_V }) => rated_V))
  const capacitance = capacitors.reduce((sum, { F }) => sum + F, 0)
  const HT_supply = await askSupply(dialogue, on('HT'), virtual === 'virtual', HT_max_V, capacitance, '1 mA')
  const asked = {
    name,
    chassis,
    isolating_transformer,
    modes,
    heater_V,
    tubes,
    chains,
    HT_V,
    HT_max_V,
    total: total === null ? null : { A: total, source: 'handbook, as its owner says' },
    capacitors,
    bias,
    virtual: virtual === 'virtual',
    HT_supply,
    heater_supplies: await askHeaterSupplies(dialogue, heaters, on, virtual === 'virtual'),
    bias_supply:
      bias === null
        ? null
        : await askSupply(dialogue, on('bias'), virtual === 'virtual', bias.V * 1.2, 50e-6, '0.1 mA'),
    meter: {
      ohm: 10e6,
      resolution_V: await dialogue.ask({
        ask: 'The last digit your voltmeter shows at some hundred volts?',
        fallback: '100 mV',
        read: quantityOf('V', 0, 10),
      }),
    },
    ammeters: await dialogue.ask({
      ask: `In which leads does an ammeter stand while the set runs, a series or a panel meter, and what is its last digit? (${withDigits(rails)}; without one the current of a rail on your own knob is not judged)`,
      fallback: '',
      read: (text) => readAmmeters(text, rails),
    }),
  }
  return {
    ...asked,
    cut_off: HT_supply === null ? null : await askCutOff(dialogue, virtual === 'virtual'),
    forming: await askForming(dialogue, asked),
    own_pack: await askOwnPack(dialogue, asked),
  }
}

/** What takes HT off when this computer is gone and the supply has no dead-man of its own. */
async function askCutOff(dialogue: Asks, virtual: boolean): Promise<Answers['cut_off']> {
  const path = await dialogue.ask({
    ask: virtual
      ? 'Does a cut-off relay take HT off once nobody feeds it? (yes or no)'
      : 'Serial port of a cut-off relay that takes HT off once nobody feeds it, if there is one? (unattended work wants one where the supply has no dead-man)',
    fallback: virtual ? 'no' : '',
    read: virtual ? yesOrNone : portOrNone,
  })
  if (path === null) return null
  const [feed, after_s] = await dialogue.ask({
    ask: '   The question that feeds it, and how long after the last one it opens?',
    fallback: ':REL:FEED?, 4 s',
    read: readFeed,
  })
  return { path: virtual ? null : path, feed, after_s }
}

async function askHeaterSupplies(
  dialogue: Asks,
  heaters: readonly { readonly rail: HeaterRail; readonly V: number; readonly called: string }[],
  on: (what: string) => string,
  virtual: boolean,
): Promise<Answers['heater_supplies']> {
  const found: Record<HeaterRail, SupplyAnswers | null> = { heaters: null, heaters2: null }
  for (const { rail, V, called } of heaters)
    found[rail] = await askSupply(dialogue, on(called), virtual, V, 0, '10 mA')
  return found
}

/** All types at once; those that are not in the catalogue are asked for again, one by one. */
async function askTubes(dialogue: Asks): Promise<readonly TubeAnswer[]> {
  const types = await dialogue.ask({
    ask: 'Its tubes by type, in the order V1, V2 …, parted by commas? (rectifiers too)',
    fallback: null,
    read: readTypes,
  })
  const tubes: TubeAnswer[] = []
  for (const [at, type] of types.entries()) {
    const name = `V${at + 1}`
    const known = readTube(type, name)
    if (known.ok) {
      tubes.push(known.value)
      continue
    }
    dialogue.tell(`   ${known.problem}: ${known.remedy}.`)
    tubes.push(
      await dialogue.ask({
        ask: `   The type of ${name}, as printed on it?`,
        fallback: null,
        read: (text) => readTube(text, name),
      }),
    )
  }
  return tubes
}

async function askSupply(
  dialogue: Asks,
  ask: string,
  virtual: boolean,
  highest_V: number,
  set_F: number,
  resolution: string,
): Promise<SupplyAnswers | null> {
  const path = await dialogue.ask({
    ask,
    fallback: virtual ? 'no' : '',
    read: virtual ? yesOrNone : portOrNone,
  })
  if (path === null) return null
  const [max_V, max_A] = await dialogue.ask({
    ask: '   Its highest volts and amps?',
    fallback: highest_V > 60 ? '300 V, 200 mA' : '30 V, 5 A',
    read: (text) => pair(text, 'V', 'A'),
  })
  const [resolution_V, resolution_A] = await dialogue.ask({
    ask: '   The smallest steps of volts and amps it reports?',
    fallback: `${highest_V > 60 ? '100 mV' : '10 mV'}, ${resolution}`,
    read: (text) => steps(text, max_A),
  })
  const [output_F, isolation_V] = await dialogue.ask({
    ask: '   The capacitor across its output, and the volts its outputs may be from earth?',
    fallback: `47 µF, ${highest_V > 60 ? '600 V' : '250 V'}`,
    read: (text) => pair(text, 'F', 'V'),
  })
  const interface_isolated = await dialogue.ask({
    ask: '   Are its outputs isolated from the computer line: yes, no or unknown?',
    // On a real bench not knowing counts as no; a virtual one has no computer line to make a loop.
    fallback: virtual ? 'yes' : 'unknown',
    read: oneOf(['yes', 'no', 'unknown']),
  })
  const wanted = bleederFor(highest_V, output_F + set_F)
  const bleeder_ohm =
    highest_V <= 60
      ? null
      : await dialogue.ask({
          ask: `   The fixed resistor across its terminals? (${formatQuantity(wanted, 'Ω')}, ${formatQuantity(Math.ceil((2 * highest_V * highest_V) / wanted), 'W')} brings it down in about 5 s)`,
          fallback: formatQuantity(wanted, 'Ω'),
          read: quantityOf('Ω'),
        })
  return {
    path: virtual ? null : path,
    max_V,
    max_A,
    resolution_V,
    resolution_A,
    output_F,
    isolation_V,
    interface_isolated,
    bleeder_ohm,
  }
}
