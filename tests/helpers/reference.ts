import { plainScpi, type Supply } from '../../src/bench/index.js'
import { channelOf, supplyOf } from './line-world.js'
import type { Vector } from './vectors.js'

/** The supply of all transcripts: the reference dialect with a channel selector, as firmware-protocol/README.md describes. */
export function referenceSupply(options: NonNullable<Vector['options']> = []): Supply {
  const dialect = {
    ...plainScpi,
    select: ':INST:NSEL {n};',
    ask_cc: options.includes('constant current') ? { query: ':STAT:QUES:COND?', mask: 1, cv_mask: 2 } : null,
    dead_man: options.includes('dead-man')
      ? ({
          arm: [':OUTP:DMAN:TIME {s}', ':OUTP:DMAN:STAT ON'],
          feed: ':OUTP:DMAN:FEED',
          after_s: 2,
          per: 'output',
          disarm: [':OUTP:DMAN:STAT OFF'],
          ask_time: ':OUTP:DMAN:TIME?',
          ask_armed: ':OUTP:DMAN:STAT?',
          ask_expired: ':OUTP:DMAN:TRIP?',
        } as const)
      : null,
  }
  return supplyOf(
    dialect,
    { plate: channelOf(1), bias: channelOf(2, { role: 'bias', max_V: 60, max_A: 0.1, off_order: 3 }) },
    { identity: 'REFERENCE,TWO CHANNELS,0,1.0' },
  )
}
