import { drivenStages, type Equipment, type RailName, unchartedSections } from '../equipment/index.js'
import { type HiddenShort, lostUntold, show } from '../limits/index.js'
import type { Profile } from '../profile/index.js'
import { isCurrentRead } from './rails.js'
import { unwatchedDrive } from './drive.js'
import { amplifyingFilaments } from './filaments.js'
import { isHot, railsOf } from './stages.js'
import type { Built } from './course.js'
import type { RailPlan } from './types.js'

/** What the run leaves unproved, in sentences: what the bench, the file and rail currents cannot show. */
export function unprovedWords(of: {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly rails: Readonly<Record<RailName, RailPlan>>
  readonly built: Built
}): string[] {
  const { profile, equipment, rails, built } = of
  const words: string[] = []
  for (const { rail, wanted_V, reached_V, why } of built.cut) {
    words.push(`${rail} from ${show(reached_V, 'V')} to ${show(wanted_V, 'V')}: ${why}.`)
  }
  const used = new Set(
    built.steps.flatMap((step) => (step.do === 'raise' && step.rail !== null ? [step.rail] : [])),
  )
  for (const rail of used) {
    const working_V = equipment.rails[rail]?.working_V ?? 0
    const top_V = Math.max(...built.steps.filter((step) => step.rail === rail).map((step) => step.target_V))
    const alreadySaid = built.cut.some((each) => each.rail === rail)
    if (top_V < 0.99 * working_V && !alreadySaid) {
      words.push(
        `${rail} above ${show(top_V, 'V')}: the profile stops below its working ${show(working_V, 'V')}.`,
      )
    }
    const plan = rails[rail]
    if (plan !== undefined && isHot(equipment, rail) && !isCurrentRead(plan)) {
      words.push(
        `The current of ${rail}: nothing reads it, so it is not judged and no limit guards the set. A reading never taken is no pass: put an ammeter into its lead and write it into the bench file (measures: A, rail: ${rail}).`,
      )
    }
    if (plan !== undefined && plan.class !== 'programmed') {
      words.push(`${rail} is ${plan.class}: slowglow cannot ${plan.cannot.join(', nor ')}.`)
    }
    const last = built.steps.findLast((step) => step.do === 'raise' && step.rail === rail)
    const hides = last?.limits[rail]?.sees?.split('may hide: ')[1]
    if (hides !== undefined) {
      words.push(
        `${rail}: one of these missing or dead may hide in its current: ${hides}. Look whether each glows or warms.`,
      )
    }
  }
  words.push(...hiddenHeaters(built))
  if (built.unguarded.length > 0) {
    words.push(
      `The rail's current cannot keep these inside their own ratings: ${built.unguarded.join(', ')}. Take their cathode or drop readings once, HT down while you clip on.`,
    )
  }
  words.push(...built.hidden.map(hiddenWords), ...canWords(built))
  words.push(...drivenByRails(equipment, built), ...unwatchedDrive(equipment, built.steps))
  const filaments = railsOf(equipment, 'heater').flatMap((rail) =>
    used.has(rail) ? amplifyingFilaments(equipment, rail) : [],
  )
  if (equipment.level < 3 && filaments.length > 0) {
    words.push(
      `How the polarity of the filament supply shifts the bias of ${filaments.join(', ')}: directly heated, and the file has no circuit to compute it by. It is up to their own filament volts; keep the polarity that the set was built for, and mark the leads.`,
    )
  }
  const uncharted = equipment.level === 3 ? unchartedSections(equipment) : []
  if (uncharted.length > 0) {
    const types = uncharted.map(({ part, type }) => `${part} (${type})`)
    words.push(
      `What ${types.join(', ')} ${types.length === 1 ? 'draws' : 'draw'} and the volts at ${types.length === 1 ? 'its' : 'their'} electrodes: no curves of the type are known, so ratings alone bound it. Compare its cathode volts with a handbook's, clipped on with HT down.`,
    )
  }
  if (equipment.level === 2) {
    words.push(
      'Ratings of resistors, capacitors and windings, and nodes that no chart names: the file gives charts, no circuit.',
    )
  }
  if (equipment.level === 1) {
    words.push(
      'Node voltages, part ratings and what each tube draws: the file gives rails and types, no circuit, so rails are judged by their currents alone.',
    )
  }
  if (
    profile.kind !== 'reform' &&
    hasElectrolytics(equipment) &&
    [...used].some((rail) => isHot(equipment, rail))
  ) {
    words.push(
      profile.electrolytics_formed === null
        ? 'Whether the electrolytics are formed: the profile does not say (electrolytics_formed: when and how). Where a set has long stood, run the reform first.'
        : `Whether the electrolytics are formed: taken on your word ("${profile.electrolytics_formed}").`,
    )
  }
  if (profile.kind === 'reform') {
    words.push(
      'Leakage of each capacitor: formed in circuit, other paths draw through the same rail, so leakage is not judged. What the rail draws sets the pace, and a rise of it after it had fallen ends the run; one that hides in a tenth of what bleeder and dividers draw is not seen. Where nothing reads the current of a rail its pace is the clock alone.',
    )
  }
  if (profile.tubes_cold && [...used].some((rail) => isHot(equipment, rail))) {
    words.push('All tubes: this run keeps them cold.')
  }
  return words
}

/** What a set without a circuit leaves untold of its driven stages: volts at their electrodes, and what their loss of drive makes. */
function drivenByRails(equipment: Equipment, { steps }: Built): string[] {
  if (equipment.level === 3) return []
  const keyed = [...new Set(steps.filter(({ do: what }) => what === 'raise').map(({ mode }) => mode))]
  const stages = keyed.flatMap((mode) => drivenStages(equipment, mode))
  const once = [...new Map(stages.map((of) => [of.tube, of])).values()]
  if (once.length === 0) return []
  const untold = once.flatMap((of) => lostUntold(equipment, of) ?? [])
  return [
    `Plate and screen dissipation of ${once.map(({ tube, type }) => `${tube} (${type})`).join(', ')} while driven, and what each draws by itself: the file gives no circuit, so the rail's current and the ratings of the service alone bound ${once.length === 1 ? 'it' : 'them'}. Look for a plate that shows colour, and take the key off at once.`,
    ...untold.map(
      (each) =>
        `What becomes of a driven stage when its drive is lost, ${each}: that is not reckoned. Try it once at low HT, with an eye on its plate.`,
    ),
  ]
}

/** Faults that burn a heater and stay inside the rail's trip, at the step that brings the heaters to their highest volts. */
function hiddenHeaters({ steps }: Built): string[] {
  const last = steps.findLast(({ do: what, rail, limits }) => {
    return what === 'raise' && rail !== null && limits[rail]?.signs !== undefined
  })
  const limits = last?.limits[last.rail ?? '']
  if (last?.rail === undefined || limits === undefined) return []
  const hidden = (limits.signs ?? []).flatMap(({ of, chains, change_A, over }) => {
    const reads_A = limits.expected_A + change_A
    const burns = over !== null && over.volts > 1.2 * over.rated_V
    if (!burns || reads_A > limits.trip_A || reads_A < limits.ask_A) return []
    return [
      `${of} in chain ${chains.join(', ')} (reads ${show(reads_A, 'A')}; ${over.part} gets up to ${show(over.volts, 'V')} of ${show(over.rated_V, 'V')})`,
    ]
  })
  return hidden.length === 0
    ? []
    : [
        `${last.rail ?? ''}: these stay inside what is allowed (${show(limits.ask_A, 'A')} to ${show(limits.trip_A, 'A')}) while a heater burns: ${hidden.join('; ')}. Compare each tube's type with the file, and look for one that glows too bright.`,
      ]
}

/** A short that its own rail does not show: what burns meanwhile, what the meter then reads, and what to do instead. */
function hiddenWords({ capacitor, over, rail, at_V, reads_A, trip_A, asked }: HiddenShort): string {
  const parts = over.map(
    ({ what, of_rating, rating }) => `${what} at ${(100 * of_rating).toFixed(0)} % of its rating (${rating})`,
  )
  const found = asked ? ', which is low enough to be asked about at the end of the step, no sooner' : ''
  return `Not guarded by the current of ${rail}: ${parts.join(', ')} if ${capacitor} shorts. At ${show(at_V, 'V')} it then reads ${show(reads_A, 'A')} (trip ${show(trip_A, 'A')})${found}. Prove ${capacitor} by ohmmeter with one end lifted, before power; at every hold look and smell, and stop at the first smoke.`
}

/** Leaking electrolytics that get too warm while the rail reads what healthy sets do. */
function canWords({ cans }: Built): string[] {
  return [...new Set(cans.map(({ rail }) => rail))].map((name) => {
    const own = cans.filter(({ rail }) => rail === name)
    const parts = own.map(({ part, leaks_A }) => `${part} (${show(leaks_A, 'A')})`).join(', ')
    return `${name}: heat in a leaking electrolytic, ${show(own[0]?.W ?? 0, 'W')} in one can (our choice, no published figure), may hide in its current: ${parts}. Form them first, with their leakage measured; at every hold look for a can that swells or smells, and stop.`
  })
}

function hasElectrolytics({ parts, rail_capacitors }: Equipment): boolean {
  return [...Object.values(parts), ...Object.values(rail_capacitors)].some(
    (part) => 'dielectric' in part && part.dielectric === 'electrolytic',
  )
}
