import * as z from 'zod'
import { choice, flag, group, list, name, quantity, ratio, table, text } from '../quantities/index.js'
import { reformTargets } from './types.js'

/* The profile file as a person writes it. */

const stageName = text('name of the stage', 120).optional()

const stageShape = z
  .discriminatedUnion(
    'do',
    [
      group({ do: z.literal('hook-up check'), name: stageName }, 'the hook-up check'),
      group({ do: z.literal('mode'), name: stageName, mode: name('mode to set') }, 'a change of mode'),
      group(
        {
          do: z.literal('ramp'),
          name: stageName,
          rail: name('rail to raise'),
          to: z
            .union(
              [
                quantity('V', 'target', { least: 0 }),
                list(quantity('V', 'target', { least: 0 }), 'targets in order', 100).min(1, {
                  error: () => 'there is no target here\nwrite to: 100 V or to: [30 V, 60 V]',
                }),
              ],
              {
                error: () => 'targets are wanted here, with their unit\nwrite to: 100 V or to: [30 V, 60 V]',
              },
            )
            .describe('target or targets, each held before the next'),
          slew: quantity('V/s', 'how fast', { above: 0, most: 1000 }).optional(),
          hold: quantity('s', 'how long each target is held', { least: 0 }).optional(),
          settle_within: quantity('s', 'wait for the current to settle, at most this long', {
            above: 0,
          }).optional(),
          ceiling: quantity('A', 'current that is never to be passed', { above: 0 }).optional(),
        },
        'a ramp',
      ),
      group(
        {
          do: z.literal('tune'),
          name: stageName,
          tube: name('the driven tube that is dipped'),
          rail: name('rail that feeds its plate'),
          at: quantity('V', 'reduced volts at which it is tuned', { above: 60, most: 20000 }),
          turn: list(text('a control'), 'insulated controls outside the case, in order', 8).min(1, {
            error: () =>
              'no control is named here\nwrite turn: [PA tuning], as under panel_controls in the set file',
          }),
          within: quantity('s', 'off tune no longer than this', { above: 0, most: 30 }).optional(),
          slew: quantity('V/s', 'how fast', { above: 0, most: 1000 }).optional(),
        },
        'tuning a driven stage',
      ),
      group(
        { do: z.literal('hold'), name: stageName, for: quantity('s', 'how long', { above: 0 }) },
        'a hold',
      ),
      group(
        {
          do: z.literal('own mains'),
          name: stageName,
          with: choice(['nothing on it', 'the set'], 'the transformer alone, or all of the set'),
          hold: quantity('s', 'how long it stands at full volts', { above: 0, most: 7200 }).optional(),
        },
        "the set's own transformer, by a variable transformer that you turn",
      ),
      group(
        {
          do: z.literal('ask'),
          name: stageName,
          text: text('what the person is asked'),
          reading: group(
            {
              node: name('where'),
              unit: choice(['V', 'A', 'Ω'], 'what is read'),
              low: z.string().max(64).describe('lowest that is right, with its unit').optional(),
              high: z.string().max(64).describe('highest that is right, with its unit').optional(),
              panel: flag("on the set's own meter, outside the case: nothing is clipped on").optional(),
            },
            'a reading the person takes',
          ).optional(),
          turn: list(
            text('a control'),
            'insulated controls outside the case that are turned, as under panel_controls in the set file',
            8,
          ).optional(),
          watch: name('rail whose figures are shown large meanwhile').optional(),
          timeout: quantity('s', 'how long the question stays open', { above: 0 }).optional(),
          inside: flag('hands go inside the set: HT comes down first').default(false),
        },
        'a question',
      ),
    ],
    {
      error: () =>
        "this stage's `do` is missing or unknown\nwrite do: one of hook-up check, mode, ramp, tune, hold, own mains, ask",
    },
  )
  .describe('a stage')

const reformShape = group(
  {
    rail: name('rail of the bench that feeds them').default('HT'),
    target: choice(reformTargets, 'what their leakage is held against').default('period'),
    built_in: flag('built into equipment: half of rated volts first').default(false),
    to: quantity('V', 'last step, where below the rating', { above: 0 }).optional(),
    hold: quantity('s', 'how long they are held at the top', { above: 0 }).optional(),
    rest: quantity('s', 'how long they rest before the re-test', { least: 0 }).optional(),
    heat: quantity('W', 'most that may turn into heat in one can', { above: 0, most: 2 }).optional(),
    stored_years: z
      .number({ error: () => 'years without voltage are wanted here\nwrite a plain number, without a unit' })
      .positive({ error: () => 'years without voltage are wanted here\nwrite more than 0, or leave it out' })
      .max(100, { error: () => 'no electrolytic has been stored for so long\nwrite 100 or less' })
      .describe('years they have stood without voltage: held the longer for it')
      .optional(),
    parts: table(
      group(
        {
          of: list(name('a part'), 'parts behind one feed resistor', 12).optional(),
          joined: choice(['parallel', 'series'], 'how they are joined').default('parallel'),
          feed: quantity('Ω', 'its own feed resistor', { above: 0 }),
          feed_tolerance: ratio('how far that may be off').default(0.01),
          feed_rated: quantity('W', 'what that is rated for', { above: 0 }),
          then: quantity(
            'Ω',
            'a second, smaller feed resistor, put in by hand where it did not come to its volts behind the first',
            { above: 0 },
          ).optional(),
          then_rated: quantity('W', 'what that is rated for', { above: 0 }).optional(),
          feed_by_hand: ratio(
            'measured by hand at the start, with an ohmmeter that may be off by this',
          ).optional(),
          capacitance: quantity('F', 'as read on a capacitance meter before', { above: 0 }).optional(),
          capacitance_error: ratio('how far that reading may be off').default(0.05),
        },
        'an electrolytic with its feed resistor',
      ),
      'lifted electrolytics',
    ),
  },
  'electrolytics lifted out of the circuit and formed, each behind its own resistor and meter',
)

const bare = z.number({
  error: () => 'a plain number is wanted here, in the unit of the rule\nwrite it without a unit',
})

export const profileShape = z
  .strictObject({
    slowglow: z.literal('profile 1', {
      error: () => 'the first key says what the file is\nwrite slowglow: profile 1',
    }),
    name: text('name of the profile', 200),
    kind: choice(['reform', 'receive', 'transmit', 'bring-up'], 'kind of run'),
    equipment: text('relative path of the equipment file', 300),
    bench: text('relative path of the bench file', 300).optional(),
    mode: name('mode to begin in').optional(),
    stages: list(
      stageShape,
      'stages in order; left out: filled in by the plan, each with its reason',
    ).default([]),
    ceiling: table(
      quantity('V', 'never above', { above: 0 }),
      'highest volts by rail, where lower than the set allows',
    ).default({}),
    time_budget: quantity('s', 'the run ends in a run-down when this is over', { above: 0 }).optional(),
    prompt_timeout: quantity('s', 'how long a question stays open', { above: 0 }).optional(),
    electrolytics_formed: text('when and how the electrolytics were formed, in your words').optional(),
    tubes_cold: flag('tubes are pulled or cold: HT without heaters is meant').default(false),
    unattended: flag('nobody watches').default(false),
    reform: reformShape.optional(),
    rules: table(
      group(
        {
          warn: bare.optional(),
          trip: bare.optional(),
          for: quantity('s', 'for this long', { least: 0 }).optional(),
        },
        'a rule',
      ),
      'tighter starting values of trip rules, by code',
    ).default({}),
  })
  .describe('A profile: what is to be done with a set on a bench')

export type WrittenProfile = z.output<typeof profileShape>
