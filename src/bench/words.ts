import type { Dialect } from './types.js'

/** Puts channel number and fixed-point numbers into a dialect's words. */
function fill(words: string, n: number, number = ''): string {
  if (!words.includes('{')) return words
  return words.replaceAll('{n}', String(n)).replaceAll('{v}', number).replaceAll('{a}', number)
}

/** One whole message to one channel: selection and action travel together, closed by the terminator. */
export function channelMessage(dialect: Dialect, n: number, words: string, number = ''): string {
  return `${dialect.select === null ? '' : fill(dialect.select, n)}${fill(words, n, number)}${dialect.terminator}`
}

/** The message that switches one channel off. */
export function offText(dialect: Dialect, channelNumber: number): string {
  return channelMessage(dialect, channelNumber, dialect.off)
}

/**
 * The emergency OFF of several channels: a bare terminator first, so that a half-sent line does not swallow it, then each
 * OFF as a message of its own, since after a parse error the rest of a message is dropped. Where the supply takes settings only
 * once it was told `remote`, that word goes before them in the same burst: somebody may have taken its panel meanwhile.
 */
export function urgentOffText(dialect: Dialect, channelNumbers: readonly number[]): string {
  const remote = dialect.remote === null ? '' : dialect.remote + dialect.terminator
  return dialect.terminator + remote + channelNumbers.map((n) => offText(dialect, n)).join('')
}
