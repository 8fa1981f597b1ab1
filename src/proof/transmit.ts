import {
  drivenRating,
  drivenStages,
  type Equipment,
  type KnownRating,
  type ModeName,
  recordOf,
} from '../equipment/index.js'
import { formatNumber, formatShort } from '../quantities/index.js'
import {
  depthOfEnvelope,
  loadFigures,
  matchFigures,
  modulationFigures,
  type ReadAs,
  reflectionOfPowers,
  stageFigures,
  withAccuracy,
} from '../rf/index.js'
import { around, heldAgainst, type Judgement, practice, type Proof, proofOf, worstOf } from './types.js'

export interface TransmitReadings {
  readonly mode: ModeName
  /** As read, and as it should be where that is known. */
  readonly frequency_Hz: number
  readonly assigned_Hz: number | null
  /** Volts across the dummy load and how they were read, or watts into it by a wattmeter; and the load. */
  readonly load: { readonly V: number; readonly as: ReadAs } | { readonly W: number }
  readonly load_ohm: number
  readonly plate_V: number
  /** Of the output stage alone, key down, without modulation. */
  readonly plate_A: number
  /** Under full modulation: largest and smallest volts of the envelope, and plate current. */
  readonly envelope: { readonly most_V: number; readonly least_V: number } | null
  readonly modulated_A: number | null
  /** The run in the set's book that held the key down in this mode; null: none does. Not given: nobody looked. */
  readonly ran?: KeyedRun | null
  readonly accuracy: number
}
export interface KeyedRun {
  readonly run: string
  readonly bench_kind: 'real' | 'virtual'
}

/** A stage that only its tank and its losses part from 100 %; beyond that a reading is wrong (common practice, no source). */
const efficiency = { impossible: 0.9, usual: 0.5, least: 0.3 } as const
const depth = { usual: 0.7 } as const
/** Plate current that moves more under modulation than this is no carrier that stands still (common practice, no source). */
const shift = { usual: 0.05, most: 0.1 } as const

/** Into a dummy load: power, plate input, efficiency, what the plates bear, and modulation, held against ratings. */
export function transmitProof(equipment: Equipment, of: TransmitReadings): Proof {
  // Watts are the effective volts that make them in that load.
  const into = (read: number) =>
    'W' in of.load
      ? loadFigures(Math.sqrt(read * of.load_ohm), 'rms', of.load_ohm)
      : loadFigures(read, of.load.as, of.load_ohm)
  const read = 'W' in of.load ? of.load.W : of.load.V
  const power = withAccuracy([read], of.accuracy, ([each = 0]) => into(each))
  const stage = withAccuracy([of.plate_V, of.plate_A, read], of.accuracy, ([V = 1, A = 1, each = 0]) =>
    stageFigures(V, A, into(each)[0]?.value ?? 0),
  )
  const { envelope } = of
  const speech =
    envelope === null
      ? []
      : withAccuracy(
          [envelope.most_V, envelope.least_V, read],
          of.accuracy,
          ([most = 1, least = 0, each = 0]) =>
            modulationFigures(
              depthOfEnvelope(most, Math.min(most, least)),
              '(most − least)/(most + least)',
              into(each)[0]?.value ?? null,
            ),
        )
  const off = of.assigned_Hz === null ? null : of.frequency_Hz - of.assigned_Hz
  const named = (key: string) => [...power, ...stage, ...speech].find((figure) => figure.key === key)
  const judged = [
    ...byRating(equipment, of, named),
    efficient(named('efficiency')),
    ...(envelope === null ? [] : [modulated(named('depth'), envelope.least_V)]),
    ...(off === null || of.assigned_Hz === null ? [] : [onFrequency(off, of.assigned_Hz)]),
    ...(of.modulated_A === null ? [] : [shifted(of.modulated_A / of.plate_A - 1)]),
    ...(of.ran === undefined ? [] : [keyedBefore(of.mode, of.ran)]),
  ]
  return proofOf({
    of: 'transmit',
    what: `${of.mode} at ${formatNumber(of.frequency_Hz / 1e6, 7)} MHz, into a dummy load`,
    figures: [...power, ...stage, ...speech],
    judged,
  })
}

/** What these readings do not show a run does: lines counted at reduced power, drive seen, every rail inside its limits. */
function keyedBefore(mode: ModeName, ran: KeyedRun | null): Judgement {
  return {
    verdict: ran?.bench_kind === 'real' ? 'shown' : 'marginal',
    text:
      ran === null
        ? `no run to its end with the key down in mode ${mode} stands in the book since anything was done to the set: no line errors were counted, no drive was seen, no limits were held; these readings alone say it`
        : `run ${ran.run} held the key down in mode ${mode} to its end, inside its limits${ran.bench_kind === 'real' ? '' : '; on a virtual bench: nothing real was energised'}`,
    source: "the set's book",
  }
}

type Named = (key: string) => Proof['figures'][number] | undefined

/** The stage that feeds the aerial: driven by radio frequency, and driving none. */
export function outputStages(equipment: Equipment, mode: ModeName): ReturnType<typeof drivenStages> {
  const all = drivenStages(equipment, mode).filter(({ stage }) => stage.by === 'RF')
  const drivers = new Set(all.map(({ stage }) => stage.from))
  return all.filter(({ tube }) => !drivers.has(tube))
}

function byRating(equipment: Equipment, of: TransmitReadings, named: Named): Judgement[] {
  const stages = outputStages(equipment, of.mode)
  const ratings = stages.flatMap((stage) => drivenRating(equipment, stage) ?? [])
  const n = ratings.length
  const [first] = ratings
  if (first === undefined || n !== stages.length)
    return [
      {
        verdict: 'marginal',
        text: `the file names no rating for the output stage in mode ${of.mode}: plate input and loss are held against nothing`,
        source: 'the set file',
      },
    ]
  const { rating, text, source } = first
  const tubes = stages.map(({ tube }) => tube).join(' and ')
  const judged: Judgement[] = [
    {
      verdict: heldAgainst(around(of.plate_A, of.accuracy), { most: n * rating.plate_A }),
      text: `plate current ${formatShort(of.plate_A, 'A')}, ${tubes} may draw ${formatShort(n * rating.plate_A, 'A')} (${text})`,
      source,
    },
  ]
  if (rating.plate_V !== null)
    judged.push({
      verdict: heldAgainst(around(of.plate_V, of.accuracy), { most: rating.plate_V }),
      text: `plate volts ${formatShort(of.plate_V, 'V')}, ${formatShort(rating.plate_V, 'V')} allowed (${text})`,
      source,
    })
  if (rating.plate_input_W !== null)
    judged.push({
      verdict: heldAgainst(named('plate_input_W'), { most: n * rating.plate_input_W }),
      text: `plate input ${formatShort(of.plate_V * of.plate_A, 'W')}, ${formatShort(n * rating.plate_input_W, 'W')} allowed (${text})`,
      source,
    })
  const plate = plateRating(equipment, stages[0]?.tube ?? '', first)
  if (plate !== null)
    judged.push({
      verdict: heldAgainst(named('dissipation_W'), { most: n * plate.W }),
      text: `plates and tank lose ${formatShort(named('dissipation_W')?.value ?? 0, 'W')}, the plates may bear ${formatShort(n * plate.W, 'W')} (${plate.text})`,
      source: plate.source,
    })
  return judged
}

/** What a plate may lose in the service in force, as the limits of a run have it; else what its type may at most. */
function plateRating(
  equipment: Equipment,
  tube: string,
  { rating, text, source }: KnownRating,
): { readonly W: number; readonly text: string; readonly source: string } | null {
  if (rating.plate_W != null) return { W: rating.plate_W, text, source }
  const of = equipment.tubes[tube]
  const most = of === undefined ? undefined : recordOf(of)?.max.plate_W
  return most === undefined
    ? null
    : { W: most.value, text: 'the most of its type: none is known for this service', source: most.source }
}

function efficient(figure: ReturnType<Named>): Judgement {
  const part = figure?.value ?? 0
  const verdict = worstOf([
    heldAgainst(figure, { most: efficiency.impossible }),
    heldAgainst(figure, { least: efficiency.least }),
    heldAgainst(figure, { least: efficiency.usual }) === 'shown' ? 'shown' : 'marginal',
  ])
  const why =
    part > efficiency.impossible
      ? ': more than such a stage can, so a reading is wrong'
      : part < efficiency.usual
        ? ': off tune, too little drive, or a tank that takes it'
        : ''
  return {
    verdict,
    text: `plate efficiency ${formatShort(part, 'ratio')}, 50 to 90 % usual in class C${why}`,
    source: practice,
  }
}

function modulated(figure: ReturnType<Named>, least_V: number): Judgement {
  const over = least_V <= 0
  const m = figure?.value ?? 0
  return {
    verdict: over || heldAgainst(figure, { least: depth.usual }) !== 'shown' ? 'marginal' : 'shown',
    text: `modulation depth ${formatShort(m, 'ratio')}${over ? ': the envelope reaches zero, which splatters' : m < depth.usual ? ', 70 to 100 % is usual at full speech' : ''}`,
    source: `m = (most − least)/(most + least) (published); 70 %: ${practice}`,
  }
}

/** Both are read on one meter: what it shows too much or too little falls out of their ratio. */
function shifted(part: number): Judgement {
  const size = Math.abs(part)
  return {
    verdict: size > shift.most ? 'not shown' : size > shift.usual ? 'marginal' : 'shown',
    text: `carrier shift: plate current ${part < 0 ? 'falls' : 'rises'} by ${formatShort(size, 'ratio')} under modulation (both read on one meter, whose own error falls out), up to 5 % is usual`,
    source: practice,
  }
}

/** A crystal of the time, warm, in a set of the time; beyond the second figure it is another crystal or none (common practice, no source). */
const stability = { usual: 200e-6, most: 1000e-6 } as const

function onFrequency(off_Hz: number, assigned_Hz: number): Judgement {
  const part = Math.abs(off_Hz) / assigned_Hz
  return {
    verdict: part > stability.most ? 'not shown' : part > stability.usual ? 'marginal' : 'shown',
    text: `${formatShort(Math.abs(off_Hz), 'Hz')} ${off_Hz < 0 ? 'below' : 'above'} ${formatNumber(assigned_Hz / 1e6, 7)} MHz, ${formatNumber(1e6 * part, 3)} parts in a million; up to 200 is usual for a crystal of its time. What is allowed is your licence's to say`,
    source: practice,
  }
}

export interface AerialReadings {
  readonly frequency_Hz: number
  readonly forward_W: number
  readonly reflected_W: number
  readonly accuracy: number
}

const swr = { good: 2, most: 3 } as const

/** Into the aerial, after the dummy load: how well the two match. */
export function aerialProof(of: AerialReadings): Proof {
  const figures = withAccuracy([of.forward_W, of.reflected_W], of.accuracy, ([forward = 1, reflected = 0]) =>
    matchFigures(reflectionOfPowers(forward, reflected), forward),
  )
  const good = heldAgainst(figures[0], { most: swr.good })
  const most = heldAgainst(figures[0], { most: swr.most })
  return proofOf({
    of: 'aerial',
    what: `match at ${formatShort(of.frequency_Hz, 'Hz')}`,
    figures,
    judged: [
      {
        // A line that is open or shorted has no SWR at all.
        verdict:
          figures[0]?.value == null || most === 'not shown'
            ? 'not shown'
            : good === 'shown'
              ? 'shown'
              : 'marginal',
        text: `SWR ${figures[0]?.value?.toFixed(2) ?? 'without end'}:1, up to ${swr.good}:1 is good, beyond ${swr.most}:1 the output stage is not to be keyed`,
        source: `SWR from powers (published); the limits: ${practice}`,
      },
    ],
  })
}
