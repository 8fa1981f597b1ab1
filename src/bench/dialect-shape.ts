import * as z from 'zod'
import { choice, count, flag, group, list, quantity, text } from '../quantities/index.js'

/* A dialect as a person writes it in the bench file. */

const word = (about: string) => text(about, 200)
const wordOrNone = (about: string) => text(about, 200).nullable()
const bit = (about: string) => count(about, 1, 65535)
const ends = ['LF', 'CR', 'CR LF'] as const

const tripped = (about: string) =>
  z
    .union([
      word(about),
      group(
        { query: word('asks the register'), mask: bit('bit that means so, as a number: 1, 2, 4 …') },
        about,
      ),
    ])
    .nullable()
    .optional()

const deadManShape = group(
  {
    arm: z.union([word('arms it'), list(word('a message'), 'messages that arm it, in order', 8)]),
    feed: wordOrNone('feeds it; null where every message does'),
    after: quantity('s', 'switches off when unfed this long', { above: 0, most: 3600 }),
    per: choice(['supply', 'output'], 'one timer for all outputs, or one each').default('supply'),
    disarm: z
      .union([word('puts it to rest'), list(word('a message'), 'messages that put it to rest, in order', 8)])
      .default([])
      .describe('puts it to rest once all outputs are confirmed off; without it, it runs out by itself'),
    ask_time: wordOrNone('answers its time in seconds').default(null),
    ask_armed: wordOrNone('answers 1 while it is armed').default(null),
    ask_expired: wordOrNone('answers 1 once it has switched off').default(null),
  },
  'a dead-man timer in the supply',
)

const answer = (about: string) => text(`${about}: {x} where the answer stands`, 80).optional()
const slow = (about: string) => quantity('s', about, { above: 0, most: 30 }).optional()

const words = {
  select: wordOrNone('chooses the channel, before every channel command').optional(),
  identify: word('asks who it is').optional(),
  clear: word('clears status').optional(),
  remote: wordOrNone('takes the panel away; without it settings are refused').optional(),
  local: wordOrNone('gives the panel back, once all outputs are confirmed off').optional(),
  at_open: list(
    word('a message to the whole supply'),
    'sent after each opening: delays, what it does at power-on',
    20,
  ).optional(),
  set_volts: word('sets volts').optional(),
  ask_set_volts: word('asks the volts set').optional(),
  set_amps: word('sets the current limit').optional(),
  ask_set_amps: word('asks the current limit').optional(),
  set_over_volts: wordOrNone('sets the over-voltage level').optional(),
  ask_over_volts: wordOrNone('asks the over-voltage level').optional(),
  over_volts_on: wordOrNone('switches over-voltage protection on').optional(),
  ask_over_volts_on: wordOrNone('asks whether over-voltage protection is on').optional(),
  set_over_amps: wordOrNone('sets a level at which over-current latches, apart from the limit').optional(),
  ask_over_amps: wordOrNone('asks the over-current level').optional(),
  over_amps_on: wordOrNone('switches over-current protection on').optional(),
  ask_over_amps_on: wordOrNone('asks whether over-current protection is on').optional(),
  on: word('output on').optional(),
  off: word('output off').optional(),
  ask_output: word('asks whether the output is on').optional(),
  measure_volts: word('measures volts').optional(),
  measure_amps: word('measures amps').optional(),
  ask_over_volts_tripped: tripped('asks whether over-voltage tripped'),
  ask_over_amps_tripped: tripped('asks whether over-current tripped'),
  ask_over_heat_tripped: tripped('asks whether over-temperature tripped'),
  ask_cc: group(
    {
      query: word('asks the register'),
      mask: bit('bit that means constant current'),
      cv_mask: bit('bit that means constant voltage, where it has one').nullable().default(null),
    },
    'asks for constant current',
  )
    .nullable()
    .optional(),
  error_query: wordOrNone('asks for the last error').optional(),
  dead_man: deadManShape.nullable().optional(),
  terminator: choice(ends, 'what ends a message to it').optional(),
  reply_terminator: choice(ends, 'what ends its replies, where that differs').optional(),
  acknowledges: wordOrNone('line that comes after every set command').optional(),
  error_lines: list(
    text('a line', 100),
    'lines it says when it refuses a command, such as "in local mode"',
    20,
  ).optional(),
  level_below: choice(
    ['refused', 'trips'],
    'what a protection level below what stands or flows does',
  ).optional(),
  number_form: choice(['fixed', 'exponent', 'padded'], 'how it prints numbers').optional(),
  unit_in_reply: flag('a unit letter is glued to numbers in replies').optional(),
  switch_in_words: flag('switches are answered ON and OFF').optional(),
  answers: group(
    {
      ask_set_volts: answer('the volts set'),
      ask_set_amps: answer('the current limit'),
      ask_over_volts: answer('the over-voltage level'),
      ask_over_amps: answer('the over-current level'),
      ask_over_volts_on: answer('over-voltage protection on or off'),
      ask_over_amps_on: answer('over-current protection on or off'),
      ask_output: answer('the output'),
      measure_volts: answer('volts'),
      measure_amps: answer('amps'),
      ask_over_volts_tripped: answer('over-voltage'),
      ask_over_amps_tripped: answer('over-current'),
      ask_over_heat_tripped: answer('over-temperature'),
      ask_cc: answer('constant current'),
      error_query: answer('the last error'),
    },
    'what stands around answers, such as { measure_volts: "VOLT {x}" }',
  ).optional(),
  slow: group(
    {
      set_volts: slow('until it obeys'),
      ask_set_volts: slow('until it answers'),
      set_amps: slow('until it obeys'),
      ask_set_amps: slow('until it answers'),
      set_over_volts: slow('until it obeys'),
      ask_over_volts: slow('until it answers'),
      over_volts_on: slow('until it obeys'),
      set_over_amps: slow('until it obeys'),
      ask_over_amps: slow('until it answers'),
      ask_over_volts_on: slow('until it answers'),
      ask_over_amps_on: slow('until it answers'),
      over_amps_on: slow('until it obeys'),
      on: slow('until it obeys'),
      off: slow('until it obeys'),
      ask_output: slow('until it answers'),
      measure_volts: slow('until it answers'),
      measure_amps: slow('until it answers'),
      ask_over_volts_tripped: slow('until it answers'),
      ask_over_amps_tripped: slow('until it answers'),
      ask_over_heat_tripped: slow('until it answers'),
      ask_cc: slow('until it answers'),
      error_query: slow('until it answers'),
    },
    'what takes longer than the rest, such as { error_query: 500 ms }',
  ).optional(),
}

export const dialectShape = z
  .union(
    [
      choice(['plain SCPI'], 'dialect'),
      group(
        {
          based_on: choice(['plain SCPI'], 'dialect that the following keys change'),
          name: word('name of this dialect'),
          ...words,
        },
        'a dialect',
      ),
    ],
    {
      error: () =>
        'this is no dialect\nwrite plain SCPI, or { based_on: plain SCPI, name: …, and the words that differ }',
    },
  )
  .describe('how the words are said on the line')

export type WrittenDialect = z.output<typeof dialectShape>
