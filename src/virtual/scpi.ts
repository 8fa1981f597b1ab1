/**
 * The grammar of SCPI-1999 messages as an instrument reads them: units parted by `;`, headers of short or long keywords with
 * numeric suffixes, the path that a unit without leading `:` continues, parameters parted by `,`. Written from the syntax
 * rules in firmware-protocol/README.md.
 */

/**
 * One command an instrument knows: by `header` in the manuals' notation, `[SOURce#]:VOLTage[:LEVel]`, where `#` allows a suffix;
 * or by a phrase of its own, whose groups `n` and `v` are the channel and a parameter.
 */
export interface Command {
  readonly header: string | RegExp
  /** How long acting takes where that is not the usual time, µs. */
  readonly takes_us?: { readonly set?: number; readonly ask?: number }
  readonly set?: (call: Call) => Answer
  readonly ask?: (call: Call) => Answer
}
export interface Call {
  /** Suffix of the first keyword that may carry one and did; null = none. */
  readonly suffix: number | null
  readonly parameters: readonly string[]
}
/** Text to answer, an error, or nothing. */
export type Answer = string | ScpiError | null
export interface ScpiError {
  readonly code: number
  readonly text: string
}

interface Node {
  readonly long: string
  readonly short: string
  readonly optional: boolean
  readonly suffix: boolean
}
interface Compiled {
  readonly nodes: readonly Node[]
  readonly command: Command
}

/** Capitals (and `*`) of a keyword are its short form. */
function compile(command: Command, header: string): Compiled {
  const nodes: Node[] = []
  for (const match of header.matchAll(/(\[?):?(\*?[A-Za-z]+)(#?)(\]?)/g)) {
    const [, open, word = '', hash] = match
    const short = word.replace(/[a-z]+/g, '').toUpperCase()
    nodes.push({ long: word.toUpperCase(), short, optional: open === '[', suffix: hash === '#' })
  }
  return { nodes, command }
}

export interface Unit {
  readonly header: string
  readonly query: boolean
  readonly parameters: readonly string[]
}
export type Found =
  | { readonly unit: Unit; readonly command: Command; readonly suffix: number | null }
  | { readonly unit: Unit; readonly error: ScpiError }

export interface Grammar {
  /** The units of one message in order. After the first that is not understood the rest is dropped, as SCPI parsers do. */
  units(message: string): readonly Found[]
}

export const errors = {
  syntax: { code: -102, text: 'Syntax error' },
  type: { code: -104, text: 'Data type error' },
  notAllowed: { code: -108, text: 'Parameter not allowed' },
  missing: { code: -109, text: 'Missing parameter' },
  undefined: { code: -113, text: 'Undefined header' },
  suffix: { code: -114, text: 'Header suffix out of range' },
  local: { code: -201, text: 'Invalid while in local' },
  conflict: { code: -221, text: 'Settings conflict' },
  range: { code: -222, text: 'Data out of range' },
  illegal: { code: -224, text: 'Illegal parameter value' },
  overflow: { code: -350, text: 'Queue overflow' },
  overrun: { code: -363, text: 'Input buffer overrun' },
} as const satisfies Record<string, ScpiError>

export function grammar(commands: readonly Command[]): Grammar {
  const compiled = commands.flatMap((command) =>
    typeof command.header === 'string' ? [compile(command, command.header)] : [],
  )
  const phrases = commands.flatMap((command) =>
    typeof command.header === 'string' ? [] : [{ command, header: command.header }],
  )
  const find = (words: readonly string[]): { command: Command; suffix: number | null } | null => {
    for (const one of compiled) {
      const suffix = match(one.nodes, words)
      if (suffix !== false) return { command: one.command, suffix }
    }
    return null
  }
  const read = (message: string): readonly Found[] => {
    const out: Found[] = []
    let path: readonly string[] = []
    for (const piece of split(message, ';')) {
      const text = piece.trim()
      if (text === '') continue
      const own = spoken(phrases, text)
      if (own !== null) {
        out.push(own)
        path = []
        continue
      }
      const parts = /^(:?)([A-Za-z*][A-Za-z0-9*:]*)(\??)(?:\s+(.*))?$/.exec(text)
      if (parts === null) {
        out.push({ unit: { header: text, query: false, parameters: [] }, error: errors.syntax })
        return out
      }
      const [, root = '', header = '', mark, rest = ''] = parts
      const words = header.toUpperCase().split(':')
      const parameters = rest.trim() === '' ? [] : split(rest, ',').map((parameter) => parameter.trim())
      const unit: Unit = { header: root + header, query: mark === '?', parameters }
      const common = header.startsWith('*')
      const whole = root === ':' || common ? words : [...path, ...words]
      const found = find(whole)
      if (found === null) {
        out.push({ unit, error: errors.undefined })
        return out
      }
      if (!common) path = whole.slice(0, -1)
      out.push({ unit, ...found })
    }
    return out
  }
  // The same few questions come thousands of times, and what a message says does not change.
  const known = new Map<string, readonly Found[]>()
  return {
    units(message) {
      const before = known.get(message)
      if (before !== undefined) return before
      const found = read(message)
      if (known.size >= known_most) known.clear()
      known.set(message, found)
      return found
    },
  }
}
/** Messages remembered at most: set-points are ever new. */
const known_most = 500

function spoken(
  phrases: readonly { readonly command: Command; readonly header: RegExp }[],
  text: string,
): Found | null {
  for (const { command, header } of phrases) {
    const match = header.exec(text)
    if (match === null) continue
    const { n, v } = match.groups ?? {}
    return {
      unit: { header: text, query: command.ask !== undefined, parameters: v === undefined ? [] : [v] },
      command,
      suffix: n === undefined ? null : Number(n),
    }
  }
  return null
}

/** Only the exact short or the exact long form; optional nodes may be left out. False = no match. */
function match(nodes: readonly Node[], words: readonly string[]): number | null | false {
  const from = (node: number, word: number): number | null | false => {
    const here = nodes[node]
    if (here === undefined) return word === words.length ? null : false
    const said = words[word]
    const parts = said === undefined ? null : /^(\*?[A-Z]+)(\d*)$/.exec(said)
    if (parts !== null) {
      const [, keyword = '', digits = ''] = parts
      if ((keyword === here.long || keyword === here.short) && (digits === '' || here.suffix)) {
        const rest = from(node + 1, word + 1)
        if (rest !== false) return digits === '' ? rest : Number(digits)
      }
    }
    return here.optional ? from(node + 1, word) : false
  }
  return from(0, 0)
}

/** Splits outside quotes and parentheses, so that a channel list `(@1,2)` stays whole. */
function split(text: string, at: string): string[] {
  const out: string[] = []
  let piece = ''
  let quote = ''
  let depth = 0
  for (const c of text) {
    if (quote !== '') {
      if (c === quote) quote = ''
    } else if (c === '"' || c === "'") quote = c
    else if (c === '(') depth += 1
    else if (c === ')') depth -= 1
    if (c === at && quote === '' && depth === 0) {
      out.push(piece)
      piece = ''
    } else piece += c
  }
  out.push(piece)
  return out
}

/** A decimal numeric parameter (NRf); null when it is not one. */
export function decimal(text: string): number | null {
  return /^[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d{1,3})?$/.test(text) ? Number(text) : null
}

/** ON, OFF or a number, of which 0 after rounding is OFF; null when it is none. */
export function boolean(text: string): boolean | null {
  const word = text.toUpperCase()
  if (word === 'ON') return true
  if (word === 'OFF') return false
  const number = decimal(text)
  return number === null ? null : Math.round(number) !== 0
}

/** Digits after the point that show a resolution. */
export function digitsOf(resolution: number): number {
  let digits = 0
  for (let step = 1; step > resolution * 1.0001 && digits < 9; step /= 10) digits += 1
  return digits
}
