import type { Bench } from '../bench/index.js'
import type { Equipment, ModeName } from '../equipment/index.js'
import type { Profile } from '../profile/index.js'
import type { Plan, Step } from './types.js'

/* What every kind of plan begins with, and what every step is before something is done in it. */

/** Above this nobody reaches in: prompts are held back, "hands clear" is asked for (60 V DC, IEC/EN 61010-1 6.3.1, second-hand). */
export const touch_V = 60

/** `hash` is left empty for the shell to fill (`planText`). */
export const planHead = (
  profile: Profile,
  equipment: Equipment,
  bench: Bench,
): Pick<Plan, 'format' | 'equipment' | 'profile' | 'bench' | 'bench_kind' | 'kind' | 'level' | 'hash'> => ({
  format: 'slowglow plan 1',
  equipment: equipment.name,
  profile: profile.name,
  bench: bench.name,
  bench_kind: bench.kind,
  kind: profile.kind,
  level: equipment.level,
  hash: '',
})

/** No question stays open for longer, s. */
const longestPrompt_s = 600

/** How long a question stays open: its own time, else the profile's. */
export const promptTimeout_s = (
  { prompt_timeout_s }: Pick<Profile, 'prompt_timeout_s'>,
  own_s: number | null = null,
): number => Math.min(longestPrompt_s, own_s ?? longestPrompt_s, prompt_timeout_s ?? longestPrompt_s)

/** Nothing rises, nobody is asked, nothing is waited for. */
const still = {
  rail: null,
  target_V: 0,
  slew_V_per_s: 0,
  hold_s: 0,
  settle_within_s: 0,
  limits: {},
  hookup: null,
  ask: null,
  nodes: {},
  soft_start_s: 0,
  needs_heaters: false,
  needs_bias: false,
  needs_plate: null,
  hands_clear: false,
} as const satisfies Partial<Step>

/** A step with what is done in it. */
export const stepOf = (
  index: number,
  stage: string,
  mode: ModeName,
  does: Partial<Step> & Pick<Step, 'do' | 'expected_s'>,
): Step => ({ index, stage, mode, ...still, ...does })
