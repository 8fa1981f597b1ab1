import type { DeadMan } from '../bench/index.js'
import { ask, plainAsk, plainTell, tell, type Move, type Want } from './moves.js'
import type { Draft } from './state.js'
import { owed } from './urgent.js'
import type { LineConfig } from './types.js'

/* The supply's own dead-man: armed on every connection, fed while readings are fresh, asked whether it fired, put to rest last. */

/** Each guarded channel has its own timer; or one timer, spoken to without choosing a channel, stands for all (null). */
function timers(config: LineConfig): readonly (number | null)[] {
  const { dead_man } = config.dialect
  if (dead_man === null || config.meter !== null) return []
  if (dead_man.per === 'supply') return [null]
  return config.channels.flatMap((channel, index) => (channel.unguarded === true ? [] : [index]))
}

function guardedBy(config: LineConfig, timer: number | null): readonly number[] {
  return timer === null ? config.channels.map((_, index) => index) : [timer]
}

/** What is said to a timer, and what is asked of it. */
function toTimer(
  config: LineConfig,
  index: number | null,
): {
  readonly tell: (words: string) => Move
  readonly ask: (words: string, want: Want) => Move
} {
  return index === null
    ? {
        tell: (words) => plainTell(config, words),
        ask: (words, want) => plainAsk(config, 0, words, want),
      }
    : {
        tell: (words) => tell(config, index, words),
        ask: (words, want) => ask(config, index, words, want),
      }
}

/**
 * Set commands that arm it, its time read back before it counts, and the question whether it is armed. Most supplies forget it
 * at power-on and after a reset. Once the line only switches off it is not armed anew: that would give an output which does
 * not obey its full time again.
 */
export function armMoves({ config, made_safe }: Pick<Draft, 'config' | 'made_safe'>): readonly Move[] {
  const { dead_man } = config.dialect
  if (dead_man === null || made_safe) return []
  const { ask_armed, ask_time = null, after_s } = dead_man
  const timed = dead_man.arm.findLastIndex((text) => text.includes('{s}'))
  const first = timed < 0 ? dead_man.arm.length - 1 : timed + 1
  return timers(config).flatMap((index): Move[] => {
    const to = toTimer(config, index)
    const said = dead_man.arm.map((text) => to.tell(text.replaceAll('{s}', String(after_s))))
    const time = ask_time === null ? [] : [to.ask(ask_time, { is: 'dead-man time', sent_s: after_s })]
    const armed = ask_armed === null ? [] : [to.ask(ask_armed, { is: 'armed', armed: true })]
    return [...said.slice(0, first), ...time, ...said.slice(first), ...armed]
  })
}

/** Puts every timer of this supply to rest, and asks whether it is. */
export function disarmMoves(config: LineConfig): readonly Move[] {
  const { dead_man } = config.dialect
  if (dead_man === null) return []
  return timers(config).flatMap((index): Move[] => {
    const to = toTimer(config, index)
    return [
      ...(dead_man.disarm ?? []).map((text) => to.tell(text)),
      ...(dead_man.ask_armed === null ? [] : [to.ask(dead_man.ask_armed, { is: 'armed', armed: false })]),
    ]
  })
}

/**
 * What feeds it now, four times in its period, and only for an output whose current was read since the feeding before: a
 * measurement goes first where it was not, and only its answer, judged, lets the feeding follow. So a line that has died, or
 * says everything but what it measures, lets it fire. Where any message feeds it, that measurement is the feeding.
 */
export function feedMoves(d: Draft): readonly Move[] {
  const { config } = d
  const { dead_man } = config.dialect
  if (dead_man === null || d.t_us < d.starved_until_us || d.t_us < feedAt(d)) return []
  const every_us = everyOf(dead_man)
  d.fed_us = d.t_us
  const look = (index: number): Move =>
    ask(config, index, config.dialect.measure_amps, { is: 'reading', quantity: 'A' })
  if (d.arm_again) {
    d.arm_again = false
    return armMoves(d)
  }
  const { feed } = dead_man
  if (feed === null) return [look(0)]
  const unread = (index: number): boolean => d.t_us - (d.channels[index]?.read_us ?? 0) > every_us
  // Once the line only switches off nothing is armed anew, but what was armed before the line was lost is fed: bias stands on it.
  if (d.unarmed && !d.made_safe && config.only_off !== true) {
    const first = timers(config).flatMap((timer) => guardedBy(config, timer).filter(unread))
    d.unarmed = first.length > 0
    return d.unarmed ? first.map(look) : armMoves(d)
  }
  const disobeyed = owed(d)
  return timers(config).flatMap((timer): Move[] => {
    const guarded = guardedBy(config, timer)
    if (leftAlone(config, guarded, disobeyed)) return []
    const to = toTimer(config, timer)
    return [
      ...guarded.filter(unread).map(look),
      feed.endsWith('?') ? to.ask(feed, { is: 'anything' }) : to.tell(feed),
    ]
  })
}

/**
 * An output that does not obey OFF is left to its dead-man, the last thing that may still switch it off: one such output of
 * those that share a timer is enough. Where none but bias and heaters share it, all of them: bias must outlast HT.
 */
function leftAlone(config: LineConfig, guarded: readonly number[], disobeyed: readonly number[]): boolean {
  const disobeys = (index: number): boolean => disobeyed.includes(index)
  const hot = guarded.some((index) => config.channels[index]?.unguarded !== true)
  return hot ? guarded.some(disobeys) : guarded.every(disobeys)
}

function everyOf(dead_man: DeadMan): number {
  return (dead_man.after_s * 1_000_000) / 4
}

/** Until when nothing is said unasked, so that a timer which any message feeds runs out; 0 = now. */
export function mute({ config, starved_until_us }: Pick<Draft, 'config' | 'starved_until_us'>): number {
  return config.dialect.dead_man?.feed === null ? starved_until_us : 0
}

/** When it wants feeding next; for ever later where there is none. */
export function feedAt(
  d: Pick<Draft, 'config' | 'disarmed' | 'fed_us' | 'heard_us' | 'starved_until_us'>,
): number {
  const { dead_man } = d.config.dialect
  if (dead_man === null || d.disarmed || timers(d.config).length === 0) return Number.POSITIVE_INFINITY
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
