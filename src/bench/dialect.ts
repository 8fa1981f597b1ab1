import type { Dialect } from './types.js'

/**
 * The words of SCPI-1999 for a power supply (VOLT, CURR, OUTP, MEAS and the protection subsystem), short forms, with
 * IEEE 488.2 common commands. Every header begins at the root, so that it may follow a channel's selection in one message.
 * Constant current is judged by current near the limit: supplies differ in the bit that reports it.
 */
export const plainScpi: Dialect = {
  name: 'plain SCPI',
  select: null,
  identify: '*IDN?',
  clear: '*CLS',
  remote: null,
  local: null,
  at_open: [],
  set_volts: ':VOLT {v}',
  ask_set_volts: ':VOLT?',
  set_amps: ':CURR {a}',
  ask_set_amps: ':CURR?',
  set_over_volts: ':VOLT:PROT {v}',
  ask_over_volts: ':VOLT:PROT?',
  over_volts_on: ':VOLT:PROT:STAT ON',
  ask_over_volts_on: null,
  set_over_amps: null,
  ask_over_amps: null,
  over_amps_on: null,
  ask_over_amps_on: null,
  on: ':OUTP ON',
  off: ':OUTP OFF',
  ask_output: ':OUTP?',
  measure_volts: ':MEAS:VOLT?',
  measure_amps: ':MEAS:CURR?',
  ask_over_volts_tripped: ':VOLT:PROT:TRIP?',
  ask_over_amps_tripped: null,
  ask_over_heat_tripped: null,
  ask_cc: null,
  error_query: ':SYST:ERR?',
  dead_man: null,
  terminator: '\n',
  reply_terminator: '\n',
  acknowledges: null,
  error_lines: [],
  level_below: 'refused',
  number_form: 'fixed',
  unit_in_reply: false,
  switch_in_words: false,
  answers: {},
  slow_s: {},
}
