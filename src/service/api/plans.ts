import * as z from 'zod'
import type { Bench } from '../../bench/index.js'
import type { Equipment } from '../../equipment/index.js'
import type { Plan, RailLimits, Step } from '../../plan/index.js'
import type { Profile } from '../../profile/index.js'
import { type ApiProblem, documented, pathField, problemShape } from './common.js'

export const planBody = z.strictObject({
  profile: pathField,
  bench: pathField.optional().describe('in place of the bench that the profile names'),
  texts: z
    .record(z.string(), z.string().max(500_000))
    .optional()
    .describe('texts not written yet, by path; they stand in for the files'),
  parts: z
    .boolean()
    .default(false)
    .describe('also what the plan was made from, as a rehearsal in the page takes it'),
})

/** The figures of the rail that a step is about, at its top level as in `slowglow plan --json`; SI units, null where there is none. */
export type PlanStep = Step & {
  readonly expected_A: number | null
  readonly lower_A: number | null
  readonly upper_A: number | null
  readonly ask_A: number | null
  readonly trip_A: number | null
  readonly ceiling_A: number | null
  readonly supply_limit_A: number | null
  readonly because: readonly (RailLimits['because'][number] & { readonly value_A: number | null })[]
}
export type PlanDocument = Omit<Plan, 'steps'> & {
  readonly steps: readonly PlanStep[]
  readonly problems: readonly ApiProblem[]
}

const amps = z.number().nullable()
export const planDocumentShape = documented<PlanDocument>(
  z
    .looseObject({
      format: z.literal('slowglow plan 1'),
      equipment: z.string(),
      profile: z.string(),
      bench: z.string(),
      bench_kind: z.enum(['real', 'virtual']),
      kind: z.string(),
      level: z.number(),
      hash: z.string(),
      rails: z.record(z.string(), z.looseObject({ name: z.string(), role: z.string(), class: z.string() })),
      hookup: z.array(z.looseObject({ rail: z.string(), supply: z.string(), first: z.array(z.string()) })),
      unproved: z.array(z.string()),
      steps: z.array(
        z.looseObject({
          index: z.number().describe('from 1'),
          stage: z.string(),
          mode: z.string(),
          rail: z.string().nullable(),
          target_V: z.number(),
          slew_V_per_s: z.number(),
          hold_s: z.number(),
          expected_A: amps,
          lower_A: amps,
          upper_A: amps,
          ask_A: amps,
          trip_A: amps,
          ceiling_A: amps,
          supply_limit_A: amps,
          because: z.array(
            z.looseObject({
              limit: z.string(),
              value: z.number(),
              unit: z.string(),
              value_A: amps,
              text: z.string(),
              source: z.string(),
            }),
          ),
          nodes: z.record(z.string(), z.number()),
        }),
      ),
      rules: z.array(z.looseObject({ code: z.string(), text: z.string(), for_s: z.number() })),
      supplies: z
        .array(z.looseObject({ channel: z.string(), rail: z.string(), state: z.string(), text: z.string() }))
        .optional()
        .describe('how far the figures of each supply are trusted: its qualification'),
      expected_s: z.number(),
      problems: z.array(problemShape),
    })
    .describe('The document of `slowglow plan --json`; SI units, more fields than are told here'),
)

/** Rails raised in two steps or more, in each mode, with their limits along the volts. */
export const courseShape = z.object({
  rail: z.string(),
  mode: z.string(),
  points: z.array(
    z.object({
      step: z.number(),
      V: z.number(),
      expected_A: z.number(),
      lower_A: z.number(),
      upper_A: z.number(),
      ask_A: z.number(),
      trip_A: z.number(),
      ceiling_A: z.number(),
    }),
  ),
})

/** What the plan was made from, as `makePlan` and `rehearse` take it. */
export interface PlanParts {
  readonly profile: Profile
  readonly equipment: Equipment
  readonly bench: Bench
  /** The set behind a virtual bench. */
  readonly behind: Equipment
}

export const plannedShape = z.object({
  plan: planDocumentShape,
  courses: z.array(courseShape).describe('what is worth drawing'),
  files: z.record(z.string(), z.string()).describe('input files as they were: path → text'),
  bench: z.string().describe('path of the bench file'),
  unfinished: z
    .object({
      run: z.string(),
      text: z.string().describe('how far each part had come'),
      offer: z.string().nullable().describe('what going on would do; null: it may not be taken up'),
      why_not: z.string().nullable(),
    })
    .nullable()
    .describe('the last reform of these parts, where it did not come to its end'),
  cautions: z.string().describe('as a start would show them; read here, they acknowledge nothing'),
  parts: documented<PlanParts>(
    z.looseObject({
      profile: z.looseObject({}),
      equipment: z.looseObject({}),
      bench: z.looseObject({}),
      behind: z.looseObject({}),
    }),
  ).nullable(),
})
export type Planned = z.output<typeof plannedShape>

export const suppliesBody = z.strictObject({ bench: pathField })
const figure = z.number().nullable()
export const suppliesShape = z.object({
  bench: z.string(),
  supplies: z.record(
    z.string(),
    z.object({
      trouble: z.string().nullable(),
      identity: z.string().nullable(),
      expects: z.string().nullable().describe('identity that the bench file wants'),
      channels: z.record(
        z.string(),
        z.object({
          output: z.enum(['on', 'off']).nullable(),
          set_V: figure,
          limit_A: figure,
          over_V: figure,
          over_A: figure,
          regulation: z.enum(['voltage', 'current', 'unknown']).nullable(),
          fired: z.array(z.string()).describe('protections that say they fired and are latched'),
          guards_off: z.array(z.string()).describe('protections that say they are switched off'),
          dead_man: z.string().nullable().describe('in words'),
          volts: figure,
          amps: figure,
        }),
      ),
      inputs: z.record(z.string(), z.string().nullable()),
      line: z.string().describe('how the line did, in words'),
    }),
  ),
})
export type Supplies = z.output<typeof suppliesShape>
