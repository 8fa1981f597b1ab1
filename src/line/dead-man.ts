import type { DeadMan } from '../bench/index.js'
import { ask, plainAsk, plainTell, tell, type Move } from './moves.js'
import type { Draft } from './state.js'
import type { LineConfig } from './types.js'

/* The supply's own dead-man: armed on every connection, fed while replies are fresh, asked whether it fired. */

/** Each guarded channel has its own timer; or one timer, spoken to without choosing a channel, stands for all (null). */
function timers(config: LineConfig): readonly (number | null)[] {
  const { dead_man } = config.dialect
  if (dead_man === null || config.meter !== null) return []
  if (dead_man.per === 'supply') return [null]
  return config.channels.flatMap((channel, index) => (channel.unguarded === true ? [] : [index]))
}

/** Set commands that arm it, and the question whether it is armed. Most supplies forget it at power-on and after a reset. */
export function armMoves(config: LineConfig): readonly Move[] {
  const { dead_man } = config.dialect
  if (dead_man === null) return []
  const want = { is: 'armed' } as const
  return timers(config).flatMap((index): Move[] => {
    const words = dead_man.arm.map((text) => text.replaceAll('{s}', String(dead_man.after_s)))
    const said = words.map((text) => (index === null ? plainTell(config, text) : tell(config, index, text)))
    if (dead_man.ask_armed === null) return said
    const asked =
      index === null
        ? plainAsk(config, 0, dead_man.ask_armed, want)
        : ask(config, index, dead_man.ask_armed, want)
    return [...said, asked]
  })
}

/**
 * What feeds it now, four times in its period. Where no reply came since the feeding before, a measurement goes first, and only
 * its answer lets the feeding follow: a line that has died is meant to let it fire. Where any message feeds it, that
 * measurement is the feeding.
 */
export function feedMoves(d: Draft): readonly Move[] {
  const { config } = d
  const { dead_man } = config.dialect
  if (dead_man === null || d.t_us < d.starved_until_us || d.t_us < feedAt(d)) return []
  const every_us = everyOf(dead_man)
  const fresh = d.t_us - d.heard_us <= every_us
  d.fed_us = d.t_us
  const look: readonly Move[] = fresh
    ? []
    : [ask(config, 0, config.dialect.measure_volts, { is: 'reading', quantity: 'V' })]
  const { feed } = dead_man
  if (feed === null) return look
  const words = timers(config).map((index) => {
    const any = { is: 'anything' } as const
    if (feed.endsWith('?'))
      return index === null ? plainAsk(config, 0, feed, any) : ask(config, index, feed, any)
    return index === null ? plainTell(config, feed) : tell(config, index, feed)
  })
  return [...look, ...words]
}

function everyOf(dead_man: DeadMan): number {
  return (dead_man.after_s * 1_000_000) / 4
}

/** Until when nothing is said unasked, so that a timer which any message feeds runs out; 0 = now. */
export function mute({ config, starved_until_us }: Pick<Draft, 'config' | 'starved_until_us'>): number {
  return config.dialect.dead_man?.feed === null ? starved_until_us : 0
}

/** When it wants feeding next; for ever later where there is none. */
export function feedAt(d: Pick<Draft, 'config' | 'fed_us' | 'heard_us' | 'starved_until_us'>): number {
  const { dead_man } = d.config.dialect
  if (dead_man === null || timers(d.config).length === 0) return Number.POSITIVE_INFINITY
  const last_us = dead_man.feed === null ? Math.max(d.fed_us, d.heard_us) : d.fed_us
  return Math.max(last_us + everyOf(dead_man), d.starved_until_us)
}

/** Whether it fired on this channel: asked of the first where one timer stands for all. */
export function expiredQuestion(config: LineConfig, index: number): Move | null {
  const { dead_man } = config.dialect
  if (dead_man === null || dead_man.ask_expired === null) return null
  const want = { is: 'tripped', which: 'dead-man', mask: null } as const
  if (dead_man.per === 'supply') return index === 0 ? plainAsk(config, 0, dead_man.ask_expired, want) : null
  return timers(config).includes(index) ? ask(config, index, dead_man.ask_expired, want) : null
}
