import { type Equipment, type ModeName, modulatorRails, type RailName, recordOf } from '../equipment/index.js'
import { chainsOf, type LimitsDesk, show } from '../limits/index.js'
import type { Profile, Stage } from '../profile/index.js'
import { touch_V } from './head.js'
import { heldInPlace } from './in-place.js'
import { mercuryWarmUp } from './mercury.js'
import { isHotRole } from './off.js'

/** A stage with every figure filled in, and why the filled-in ones are what they are. */
export type FilledStage = Stage & { readonly added: string | null }

/** Where a bring-up's HT is first judged: receivers 100 V, transmitters 250 V (common practice, no source). */
export const firstJudged_V = { receive: 100, transmit: 250 } as const

const commonPractice = 'common practice, no source'

export interface StageDefaults {
  readonly slew_V_per_s: number
  readonly slew_because: string
  readonly hold_s: number
  readonly hold_because: string
  readonly settle_within_s: number
}

/** Mode a profile is judged in: its own, else the one its kind suggests, else the set's first. */
export function modeOf(profile: Profile, equipment: Equipment): ModeName | null {
  const modes = Object.keys(equipment.modes)
  const staged = profile.stages.find((stage) => stage.do === 'mode')
  if (profile.mode !== null) return profile.mode
  if (staged?.do === 'mode') return staged.mode
  const wanted = profile.kind === 'transmit' ? /transmit|send/i : /receiv/i
  return modes.find((mode) => wanted.test(mode)) ?? modes[0] ?? null
}

/**
 * The stages of a profile in order, absent ones filled in: the hook-up check first, heaters before HT, bias before HT, the
 * mode's controls before judging, and where the profile states no stage at all, the whole bring-up.
 */
export function filledStages(
  profile: Profile,
  equipment: Equipment,
  desk: LimitsDesk,
  reach: (rail: RailName) => number,
): FilledStage[] {
  const stages: FilledStage[] = profile.stages.map((stage) => ({ ...stage, added: null }))
  const bare = stages.length === 0
  if (bare) stages.push(...bringUp(profile, equipment, reach))
  const first = stages[0]
  if (first?.do !== 'hook-up check') {
    stages.unshift(added({ do: 'hook-up check', name: 'hook-up check' }, 'always comes first'))
  }
  const mode = modeOf(profile, equipment)
  const firstHT = (): number =>
    stages.findIndex((stage) => stage.do === 'ramp' && isHot(equipment, stage.rail))
  if (!profile.tubes_cold) {
    // Hot tubes draw through the rail that is formed: in a reform heaters rise where a stage says so, and nowhere else.
    for (const rail of profile.kind === 'reform' ? [] : railsOf(equipment, 'heater')) {
      if (chainsOf(equipment, rail).length === 0 || rampsBefore(stages, rail, firstHT())) continue
      insert(
        stages,
        afterHookup(stages),
        added(rampTo(equipment, rail, reach(rail), 'heaters'), 'HT needs hot heaters'),
      )
    }
    for (const rail of railsOf(equipment, 'bias')) {
      if (equipment.rails[rail]?.required_bias === undefined || rampsBefore(stages, rail, firstHT())) continue
      const at = firstHT()
      insert(
        stages,
        at < 0 ? stages.length : at,
        added(rampTo(equipment, rail, reach(rail), 'bias'), 'HT needs bias'),
      )
    }
  }
  if (mode !== null && !stages.some((stage) => stage.do === 'mode')) {
    // Hands may go in for it: before heaters and bias where those may not be touched, or they would go down again.
    const first = [...railsOf(equipment, 'heater'), ...railsOf(equipment, 'bias')].some(
      (rail) => (equipment.rails[rail]?.working_V ?? 0) > touch_V,
    )
    const at = first ? afterHookup(stages) : firstHT()
    insert(
      stages,
      at < 0 ? stages.length : at,
      added({ do: 'mode', name: `controls for ${mode}`, mode }, 'currents are judged for one mode'),
    )
  }
  return stages
}

function bringUp(profile: Profile, equipment: Equipment, reach: (rail: RailName) => number): FilledStage[] {
  if (profile.kind === 'reform') return reform(equipment, reach)
  const stages: FilledStage[] = []
  const all = [...railsOf(equipment, 'HT'), ...railsOf(equipment, 'other'), ...railsOf(equipment, 'screen')]
  const modulators = modulatorRails(equipment)
  const hot = [...all.filter((rail) => !modulators.has(rail)), ...all.filter((rail) => modulators.has(rail))]
  for (const rail of railsOf(equipment, 'bias')) {
    stages.push(added(rampTo(equipment, rail, reach(rail), 'bias'), 'stands before HT'))
  }
  for (const rail of hot) {
    const first_V = profile.kind === 'transmit' ? firstJudged_V.transmit : firstJudged_V.receive
    stages.push(
      added(
        {
          do: 'ramp',
          name: `${rail} in steps`,
          rail,
          to_V: targets(reach(rail)),
          slew_V_per_s: null,
          hold_s: null,
          settle_within_s: null,
          ceiling_A: null,
        },
        `a low start, first judged at ${show(Math.min(first_V, reach(rail)), 'V')} (${commonPractice})`,
      ),
    )
  }
  return stages
}

/** Each rail of HT in small steps, held until what it draws falls no more. */
function reform(equipment: Equipment, reach: (rail: RailName) => number): FilledStage[] {
  return railsOf(equipment, 'HT').map((rail) => {
    const top_V = reach(rail)
    const count = Math.max(1, Math.ceil(top_V / 50))
    return added(
      {
        do: 'ramp',
        name: `form ${rail}`,
        rail,
        to_V: Array.from({ length: count }, (_, n) => Math.round((top_V * (n + 1)) / count)),
        slew_V_per_s: 0.5,
        hold_s: heldInPlace.hold_s,
        settle_within_s: heldInPlace.settle_within_s,
        ceiling_A: null,
      },
      `steps of some 50 V (${commonPractice}), each held for ten minutes to an hour, as what it draws falls`,
    )
  })
}

/** A low start shows a charged, leaking or shorted part while little energy is stored (common practice, no source). */
const lowStart_V = [30, 60] as const

/** From a low start through 100 V in steps of 50 V (100 V above 300 V) to the top. */
function targets(top_V: number): number[] {
  const made: number[] = lowStart_V.filter((V) => V < 0.8 * top_V)
  if (made.length === 0) return [top_V / 2, top_V]
  for (let V = 100; V < top_V; V += V < 300 ? 50 : 100) made.push(V)
  // A last step of a few volts would only cost time.
  const last = made[made.length - 1] ?? 0
  if (made.length > 1 && top_V - last < 15) made.pop()
  return [...made, top_V]
}

/** Slew and hold where the profile states none, each with its reason. */
export function defaultsFor(equipment: Equipment, rail: RailName, charging_F: number): StageDefaults {
  const role = equipment.rails[rail]?.role
  if (role === 'heater') {
    const warm_s = warmUpOf(equipment, rail).s
    return {
      slew_V_per_s: 0.5,
      slew_because: `0.5 V/s: cold heaters are held in current limit anyway (${commonPractice})`,
      hold_s: warm_s,
      hold_because: `${show(warm_s, 's')}: the longest warm-up on the rail (${warmUpOf(equipment, rail).source})`,
      settle_within_s: 120,
    }
  }
  if (role === 'bias') {
    return {
      slew_V_per_s: 5,
      slew_because: `5 V/s (${commonPractice})`,
      hold_s: 10,
      hold_because: '10 s: the window in which a current counts as settled',
      settle_within_s: 60,
    }
  }
  // No more than 5 V/s, and no more than 5 mA into the reservoirs: a leaky one is then not hidden by its own charging.
  const slew = charging_F > 0 ? Math.min(5, 0.005 / charging_F) : 5
  const slew_V_per_s = Number(slew.toPrecision(2))
  return {
    slew_V_per_s,
    slew_because: `${show(slew_V_per_s, 'V/s')}: charging ${show(charging_F, 'F')} then takes ${show(charging_F * slew_V_per_s, 'A')} (at most 5 mA and 5 V/s: our choice)`,
    hold_s: 30,
    hold_because: `30 s: then until settled (${commonPractice})`,
    settle_within_s: 120,
  }
}

/** Longest warm-up time of a heater rail's tubes and chains, with its source. */
export function warmUpOf(equipment: Equipment, rail: RailName): { s: number; source: string } {
  let longest = { s: 0, source: commonPractice }
  for (const [name] of chainsOf(equipment, rail)) {
    const of = chainWarmUp(equipment, name)
    if (of.s > longest.s) longest = of
  }
  return longest
}

/** Warm-up of one chain: its own statement, else the longest of its tubes. */
export function chainWarmUp(equipment: Equipment, name: string): { s: number; source: string } {
  const chain = equipment.heater_chains[name]
  const mercury = mercuryWarmUp(equipment, chain?.series.flat() ?? [])
  if (chain?.warm_up_s !== undefined) {
    const { value, source } = chain.warm_up_s
    // What a file states may lengthen the wait of a mercury-vapour rectifier, never shorten it.
    return mercury !== null && mercury.s > value ? mercury : { s: value, source }
  }
  let longest = { s: 0, source: 'lamps and resistors only' }
  for (const part of chain?.series.flat() ?? []) {
    const tube = equipment.tubes[part]
    if (tube === undefined) continue
    const found = recordOf(tube)
    if (found !== null && found.warm_up_s.value > longest.s) {
      longest = { s: found.warm_up_s.value, source: `${part} (${tube.type}): ${found.warm_up_s.source}` }
    }
  }
  return mercury !== null && mercury.s > longest.s ? mercury : longest
}

function rampTo(equipment: Equipment, rail: RailName, top_V: number, name: string): Stage {
  const to_V = Math.min(equipment.rails[rail]?.working_V ?? 0, top_V)
  return {
    do: 'ramp',
    name,
    rail,
    to_V: [to_V],
    slew_V_per_s: null,
    hold_s: null,
    settle_within_s: null,
    ceiling_A: null,
  }
}

function added(stage: Stage, why: string): FilledStage {
  return { ...stage, added: why }
}

function insert(stages: FilledStage[], at: number, stage: FilledStage): void {
  stages.splice(at, 0, stage)
}

function afterHookup(stages: readonly FilledStage[]): number {
  const last = stages.findLastIndex((stage) => stage.do === 'hook-up check')
  return last + 1
}

function rampsBefore(stages: readonly FilledStage[], rail: RailName, before: number): boolean {
  return stages.some((stage, at) => stage.do === 'ramp' && stage.rail === rail && (before < 0 || at < before))
}

export function railsOf(equipment: Equipment, role: string): RailName[] {
  return Object.entries(equipment.rails)
    .filter(([, rail]) => rail.role === role)
    .map(([name]) => name)
}

/** Rails that come after heaters and bias: HT, screen, drive and others. */
export function isHot(equipment: Equipment, rail: RailName): boolean {
  const role = equipment.rails[rail]?.role
  return role !== undefined && isHotRole(role)
}
