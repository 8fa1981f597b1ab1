import * as z from 'zod'
import type { Plan } from '../../plan/index.js'
import type { Band, Comparison, RunLine, SetTrend, Story } from '../../record/index.js'
import { documented, pathField, runField } from './common.js'

export const runParams = z.strictObject({ run: runField })

const date = z.string().regex(/^\d{4}-\d{2}-\d{2}$/, 'year-month-day: 2026-11-25')
const outcome = z.enum(['completed', 'tripped', 'stopped', 'failed', 'interrupted'])
export const runsQuery = z.strictObject({
  set: z.string().max(200).optional().describe('only sets whose name holds these words'),
  outcome: outcome.optional(),
  kind: z.enum(['run', 'rehearse', 'qualify']).optional(),
  since: date.optional().describe('UTC'),
  until: date.optional().describe('UTC'),
})
export type ApiRunLine = RunLine & { readonly under_way: boolean }
export const runsShape = z.object({
  folder: z.string(),
  bytes: z.number(),
  runs: z.array(
    documented<ApiRunLine>(
      z.looseObject({
        run: z.string(),
        file: z.string(),
        started: z.string().nullable(),
        equipment: z.string().nullable(),
        profile: z.string().nullable(),
        command: z.enum(['rehearse', 'run', 'qualify']).nullable(),
        outcome: outcome.nullable(),
        outputs_off: z.enum(['confirmed', 'not confirmed', 'not known']).nullable(),
        reason: z.string().nullable(),
        warnings: z.number(),
        hands_open: z.array(z.string()).describe('rails on a person’s own knob that were not confirmed off'),
        nothing_to_confirm: z.boolean().describe('no rail of it was slowglow’s to switch or to measure'),
        rest: z
          .array(z.string())
          .describe('files elsewhere with what a record without an ending did not take'),
        duration_s: z.number().nullable(),
        trouble: z.string().nullable().describe('the file cannot be read, and why'),
        damage: z.array(z.string()),
        archived: z.boolean(),
        under_way: z.boolean(),
      }),
    ),
  ),
  elsewhere: z.array(z.string()).describe('other folders that hold runs, which are not listed here'),
  unlisted: z.array(z.object({ file: z.string(), trouble: z.string() })),
})
export type Runs = z.output<typeof runsShape>

/** Times in s of the run, SI units. */
export type ApiStory = Story & {
  readonly under_way: boolean
  readonly closing: readonly string[]
  readonly bands: readonly ApiBand[]
}
/** What a rail's current was held against while a step lasted; `lowering`: trip and ceiling held, the band was no yardstick. */
export type ApiBand = Omit<Band, 'from_us' | 'to_us'> & { readonly from_s: number; readonly to_s: number }
export const sealShape = z.object({
  is: z.enum(['whole', 'open', 'broken', 'none', 'not checked']),
  text: z.string().describe('the same in a sentence'),
  finding: z.boolean().describe('it is broken, or lacks its last links though the run has an ending'),
})
export const storyShape = documented<ApiStory>(
  z
    .looseObject({
      run: z.string(),
      file: z.string(),
      standing: z
        .enum(['whole', 'open', 'wal missing', 'cut short'])
        .describe('open: its newest part lies beside it in a -wal'),
      rests: z
        .array(z.looseObject({ file: z.string(), entries: z.number(), in_memory: z.boolean() }))
        .describe('files elsewhere with what this one did not take'),
      equipment: z.string().nullable(),
      profile: z.string().nullable(),
      bench: z.string().nullable(),
      bench_kind: z.enum(['real', 'virtual']).nullable(),
      outcome,
      outputs_off: z.enum(['confirmed', 'not confirmed', 'not known']),
      reason: z
        .looseObject({
          code: z.string(),
          rail: z.string().nullable(),
          step: z.number().nullable(),
          measured: z.number().nullable(),
          limit: z.number().nullable(),
          unit: z.string(),
          text: z.string(),
          because: z.array(z.looseObject({ limit: z.string(), text: z.string(), source: z.string() })),
        })
        .nullable(),
      stored_charge: z.record(
        z.string(),
        z.union([
          z.looseObject({ volts: z.number(), meter: z.string(), age_s: z.number() }),
          z.literal('not measured'),
        ]),
      ),
      hand_rails: z.record(z.string(), z.union([z.number(), z.literal('not confirmed by you')])),
      warnings: z.array(z.string()),
      steps_done: z.number(),
      steps: z.array(
        z.looseObject({
          index: z.number(),
          stage: z.string(),
          mode: z.string(),
          rail: z.string().nullable(),
          target_V: z.number(),
          began_s: z.number().nullable(),
          rails: z.array(
            z.looseObject({
              rail: z.string(),
              at_V: z.number(),
              volts: z.number().nullable(),
              amps: z.number().nullable(),
              expected_A: z.number(),
              lower_A: z.number(),
              upper_A: z.number(),
              trip_A: z.number(),
              trip_by_hand: z.literal(true).optional(),
              verdict: z.string(),
            }),
          ),
        }),
      ),
      duration_s: z.number(),
      seal: z.looseObject({ is: z.string() }),
      notes: z.array(z.object({ written: z.string(), by: z.string(), text: z.string() })),
      events: z.array(
        z.looseObject({ t_s: z.number(), from: z.string(), what: z.string(), text: z.string() }),
      ),
      damage: z.array(z.string()),
      under_way: z.boolean(),
      bands: z.array(
        z.looseObject({
          rail: z.string(),
          step: z.number(),
          from_s: z.number(),
          to_s: z.number(),
          at_V: z.number(),
          expected_A: z.number(),
          lower_A: z.number(),
          upper_A: z.number(),
          trip_A: z.number(),
          ceiling_A: z.number(),
          lowering: z.boolean(),
        }),
      ),
      closing: z
        .array(z.string())
        .describe(
          'how it ended, in the words that the run itself closed with; or how one without an ending stands',
        ),
    })
    .describe(
      'The document of `slowglow show --json`, without its plots and with its seal not checked: that reads the whole file',
    ),
)

export const runPlanShape = documented<Plan>(
  z
    .looseObject({
      format: z.literal('slowglow plan 1'),
      hash: z.string(),
      steps: z.array(z.looseObject({})),
    })
    .describe('The plan as it was run: limits, reasons and rules'),
)

export const tracesQuery = z.strictObject({
  width: z.coerce.number().int().min(1).max(4000).default(1000).describe('pixel columns'),
  from_s: z.coerce.number().optional(),
  to_s: z.coerce.number().optional(),
  streams: z
    .string()
    .regex(/^\d{1,6}(,\d{1,6}){0,63}$/, 'numbers of streams, joined by commas')
    .optional()
    .describe('only these; all unless given'),
  unit: z.enum(['V', 'A']).optional().describe('only those of rails in this unit'),
})
const streamShape = z.object({
  id: z.number(),
  name: z.string(),
  unit: z.enum(['V', 'A', '°C', 'contact']),
  rail: z.string().nullable(),
  resolution: z.number(),
})
const figures = z.array(z.number())
/**
 * Zoomed in, each reading; zoomed out, of each pixel column with readings the first, last, lowest and highest: a spike of one
 * sample stays. Arrays of one length, left to right. Column c lies at from_s + (c + 0.5) / width × (to_s − from_s).
 */
export const tracesShape = z.object({
  run: z.string(),
  from_s: z.number(),
  to_s: z.number(),
  span_s: z.tuple([z.number(), z.number()]).nullable().describe('first and last moment of the whole run'),
  width: z.number(),
  streams: z.array(
    z.discriminatedUnion('is', [
      streamShape.extend({ is: z.literal('readings'), t_s: figures, value: figures }),
      streamShape.extend({
        is: z.literal('columns'),
        column: figures,
        n: figures,
        first: figures,
        last: figures,
        min: figures,
        max: figures,
      }),
    ]),
  ),
  damage: z.array(z.string()),
})
export type Traces = z.output<typeof tracesShape>

export const inForceQuery = z.strictObject({
  however_long: z.enum(['yes', 'no']).default('no').describe('yes: also of a run that takes minutes'),
})
const held = z.array(z.number().nullable())
/** Each moment's limits hold up to the next moment. */
export const inForceShape = z.object({
  run: z.string(),
  rails: z
    .array(
      z.object({
        rail: z.string(),
        t_s: figures,
        trip_A: held.describe('with what charges capacitors; null: none of a step’s limits was in force'),
        ceiling_A: held,
        expected_A: held.describe('null on the way down, where the band is no yardstick'),
        lower_A: held,
        upper_A: held,
      }),
    )
    .nullable()
    .describe('null: a run so long that it is worked out only when asked for'),
  gap: z.string().nullable().describe('why it is not known, or not to the end of the run'),
})
export type ApiInForce = z.output<typeof inForceShape>

export const noteBody = z.strictObject({
  text: z.string().trim().min(1).max(10_000),
  by: z
    .string()
    .trim()
    .min(1)
    .max(100)
    .regex(/^[^\p{C}]+$/u, 'a name without control characters')
    .optional()
    .describe('who writes it; where from is put beside it'),
})
export const noteShape = z.object({ run: z.string(), written: z.string(), by: z.string(), text: z.string() })

export const exportQuery = z.strictObject({ format: z.enum(['csv', 'jsonl', 'parquet']) })

export const replayQuery = z.strictObject({
  profile: pathField.optional().describe('judge it by the plan that this profile makes now'),
  bench: pathField.optional(),
})
export const replayShape = z.looseObject({
  run: z.string(),
  versions: z.object({ recorded: z.string(), now: z.string() }),
  agrees: z.boolean(),
  difference: z.looseObject({ t_s: z.number() }).nullable(),
  gap: z.string().nullable(),
  text: z.string().describe('the same in words'),
})
export type Replay = z.output<typeof replayShape>

export const compareQuery = z.strictObject({ a: runField, b: runField })
export const comparisonShape = documented<Comparison>(
  z.looseObject({
    differs: z.array(z.string()),
    steps: z.array(
      z.looseObject({
        a_step: z.number().nullable(),
        b_step: z.number().nullable(),
        stage: z.string(),
        verdict: z.enum(['same', 'changed', 'same in part', 'not compared']),
        rails: z.array(
          z.looseObject({
            rail: z.string(),
            a_A: z.number().nullable(),
            b_A: z.number().nullable(),
            a_V: z.number().nullable().describe('volts at which it was measured'),
            b_V: z.number().nullable(),
            change_A: z.number().nullable(),
            error_A: z.number().nullable(),
            verdict: z.string(),
          }),
        ),
      }),
    ),
  }),
)

export const trendQuery = z.strictObject({
  set: z.string().min(1).max(200).describe('name of the set as its runs have it, or words in it'),
  rehearsals: z.enum(['yes', 'no']).default('no'),
})
export type ApiTrend = SetTrend & { readonly elsewhere: readonly string[] }
export const trendShape = documented<ApiTrend>(
  z.looseObject({
    equipment: z.string(),
    runs: z.array(z.looseObject({ run: z.string(), started: z.string().nullable() })),
    series: z.array(
      z.looseObject({
        stage: z.string(),
        mode: z.string(),
        rail: z.string(),
        at_V: z.number(),
        points: z.array(z.looseObject({ run: z.string(), amps: z.number().nullable() })),
      }),
    ),
    capacitors: z.array(z.looseObject({ run: z.string(), reformed: z.boolean(), why: z.string() })),
    life: z
      .array(
        z.looseObject({
          at: z.string().nullable(),
          what: z.enum(['run', 'note', 'repair', 'replaced']),
          by: z.string().nullable(),
          text: z.string(),
          run: z.string().nullable(),
        }),
      )
      .describe('runs, their notes and what the book of the set says was done between, by time'),
    no_book: z.string().nullable().describe('why no repairs are told'),
    unread: z.array(z.object({ file: z.string(), trouble: z.string() })),
    elsewhere: z.array(z.string()),
  }),
)
