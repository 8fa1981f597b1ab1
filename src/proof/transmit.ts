import { drivenRating, drivenStages, type Equipment, type ModeName, recordOf } from '../equipment/index.js'
import { formatShort } from '../quantities/index.js'
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
import { heldAgainst, type Judgement, practice, type Proof, proofOf, type ProofVerdict } from './types.js'

export interface TransmitReadings {
  readonly mode: ModeName
  /** Volts across the dummy load, how they were read, and the load. */
  readonly load_V: number
  readonly as: ReadAs
  readonly load_ohm: number
  readonly plate_V: number
  /** Of the output stage alone, key down, without modulation. */
  readonly plate_A: number
  /** Under full modulation: largest and smallest volts of the envelope, and plate current. */
  readonly envelope: { readonly most_V: number; readonly least_V: number } | null
  readonly modulated_A: number | null
  readonly accuracy: number
}

/** A stage that only its tank and its losses part from 100 %; beyond that a reading is wrong (common practice, no source). */
const efficiency = { impossible: 0.9, usual: 0.5, least: 0.3 } as const
const depth = { usual: 0.7 } as const
/** Plate current that moves more under modulation than this is no carrier that stands still (common practice, no source). */
const shift = { usual: 0.05, most: 0.1 } as const

/** Into a dummy load: power, plate input, efficiency, what the plates bear, and modulation, held against ratings. */
export function transmitProof(equipment: Equipment, of: TransmitReadings): Proof {
  const power = withAccuracy([of.load_V], of.accuracy, ([V = 0]) => loadFigures(V, of.as, of.load_ohm))
  const stage = withAccuracy([of.plate_V, of.plate_A, of.load_V], of.accuracy, ([V = 1, A = 1, load = 0]) =>
    stageFigures(V, A, loadFigures(load, of.as, of.load_ohm)[0]?.value ?? 0),
  )
  const { envelope } = of
  const speech =
    envelope === null
      ? []
      : withAccuracy([envelope.most_V, envelope.least_V], of.accuracy, ([most = 1, least = 0]) =>
          modulationFigures(
            depthOfEnvelope(most, Math.min(most, least)),
            '(most − least)/(most + least)',
            power[0]?.value ?? null,
          ),
        )
  const named = (key: string) => [...power, ...stage, ...speech].find((figure) => figure.key === key)
  const judged = [
    ...byRating(equipment, of, named),
    efficient(named('efficiency')?.value ?? 0),
    ...(envelope === null ? [] : [modulated(named('depth')?.value ?? 0, envelope.least_V)]),
    ...(of.modulated_A === null ? [] : [shifted(of.modulated_A / of.plate_A - 1)]),
  ]
  return proofOf({
    of: 'transmit',
    what: `${of.mode}, into a dummy load`,
    figures: [...power, ...stage, ...speech],
    judged,
  })
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
      verdict: of.plate_A > n * rating.plate_A ? 'not shown' : 'shown',
      text: `plate current ${formatShort(of.plate_A, 'A')}, ${tubes} may draw ${formatShort(n * rating.plate_A, 'A')} (${text})`,
      source,
    },
  ]
  if (rating.plate_V !== null)
    judged.push({
      verdict: of.plate_V > rating.plate_V ? 'not shown' : 'shown',
      text: `plate volts ${formatShort(of.plate_V, 'V')}, ${formatShort(rating.plate_V, 'V')} allowed (${text})`,
      source,
    })
  if (rating.plate_input_W !== null)
    judged.push({
      verdict: heldAgainst(named('plate_input_W'), { most: n * rating.plate_input_W }),
      text: `plate input ${formatShort(of.plate_V * of.plate_A, 'W')}, ${formatShort(n * rating.plate_input_W, 'W')} allowed (${text})`,
      source,
    })
  const tube = equipment.tubes[stages[0]?.tube ?? '']
  const plate = tube === undefined ? null : (recordOf(tube)?.max.plate_W ?? null)
  if (plate !== null)
    judged.push({
      verdict: heldAgainst(named('dissipation_W'), { most: n * plate.value }),
      text: `plates and tank lose ${formatShort(named('dissipation_W')?.value ?? 0, 'W')}, the plates may bear ${formatShort(n * plate.value, 'W')}`,
      source: plate.source,
    })
  return judged
}

function efficient(part: number): Judgement {
  const verdict: ProofVerdict =
    part > efficiency.impossible || part < efficiency.least
      ? 'not shown'
      : part < efficiency.usual
        ? 'marginal'
        : 'shown'
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

function modulated(m: number, least_V: number): Judgement {
  const over = least_V <= 0
  return {
    verdict: over || m < depth.usual ? 'marginal' : 'shown',
    text: `modulation depth ${formatShort(m, 'ratio')}${over ? ': the envelope reaches zero, which splatters' : m < depth.usual ? ', 70 to 100 % is usual at full speech' : ''}`,
    source: `m = (most − least)/(most + least) (published); 70 %: ${practice}`,
  }
}

function shifted(part: number): Judgement {
  const size = Math.abs(part)
  return {
    verdict: size > shift.most ? 'not shown' : size > shift.usual ? 'marginal' : 'shown',
    text: `carrier shift: plate current ${part < 0 ? 'falls' : 'rises'} by ${formatShort(size, 'ratio')} under modulation, up to 5 % is usual`,
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
