import { loadAll } from '../../src/files/index.js'
import type { Bench } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { makePlan, type Plan } from '../../src/plan/index.js'
import type { Profile } from '../../src/profile/index.js'

export interface Parts {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
}

/** A demo profile with its set and bench, as loaded; tests change single fields of it. */
export function demo(
  name:
    | 'tern-rock/receive'
    | 'tern-rock/transmit'
    | 'tern-rock/reform-in-place'
    | 'small-receiver/receive'
    | 'small-receiver/receive-charts'
    | 'small-receiver/receive-network',
): Parts {
  const all = loadAll(`profiles/${name}.yaml`)
  if (all.value === null) throw new Error(`${name}: ${JSON.stringify(all.problems)}`)
  return all.value
}

/** The plan of these parts; a refusal is a failed test. */
export function planned({ profile, equipment, bench }: Parts): Plan {
  const { plan, problems } = makePlan(profile, equipment, bench)
  if (plan === null) throw new Error(problems.map((each) => each.what).join('\n'))
  return plan
}

/** Why these parts are refused: the errors, as one text. */
export function refusal({ profile, equipment, bench }: Parts): string {
  const { plan, problems } = makePlan(profile, equipment, bench)
  if (plan !== null) throw new Error('was not refused')
  return problems
    .filter(({ severity }) => severity === 'error')
    .map(({ what, remedy }) => `${what} ${remedy}`)
    .join('\n')
}

/** The same bench with one channel changed. */
export function withChannel(
  bench: Bench,
  supply: string,
  channel: string,
  change: Partial<Bench['supplies'][string]['channels'][string]>,
): Bench {
  const at = bench.supplies[supply]
  const was = at?.channels[channel]
  if (at === undefined || was === undefined) throw new Error(`no ${supply}.${channel}`)
  return {
    ...bench,
    supplies: {
      ...bench.supplies,
      [supply]: { ...at, channels: { ...at.channels, [channel]: { ...was, ...change } } },
    },
  }
}

/** The same set with one rail changed. */
export function withRail(
  equipment: Equipment,
  name: string,
  change: Partial<Equipment['rails'][string]>,
): Equipment {
  const was = equipment.rails[name]
  if (was === undefined) throw new Error(`no rail ${name}`)
  return { ...equipment, rails: { ...equipment.rails, [name]: { ...was, ...change } } }
}

export const ramp = (rail: string, to_V: readonly number[]): Profile['stages'][number] => ({
  do: 'ramp',
  name: `${rail} up`,
  rail,
  to_V,
  slew_V_per_s: null,
  hold_s: null,
  settle_within_s: null,
  ceiling_A: null,
})
