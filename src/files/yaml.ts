import {
  isAlias,
  isMap,
  isNode,
  isScalar,
  isSeq,
  LineCounter,
  parseDocument,
  visit,
  type Document,
  type Node,
} from 'yaml'
import type { Path, Position, Problem, Where } from '../quantities/index.js'

/** Larger files are refused unread: a set's file is some tens of kilobytes. */
export const longest_bytes = 500_000

export interface Parsed {
  /** Plain values, or undefined where the text is no YAML at all. */
  readonly raw: unknown
  readonly where: Where
  readonly problems: readonly Problem[]
  /** False when the text's structure is broken: meaning is then not judged. */
  readonly sound: boolean
}

const remedies: Readonly<Record<string, string>> = {
  MULTIPLE_DOCS: 'one file, one document: remove the line ---',
  TAB_AS_INDENT: 'indent with spaces',
  BAD_INDENT: 'keys of one group stand under each other, indented alike',
  MISSING_CHAR: 'look for a missing comma, bracket, colon or quote here or just before',
  UNEXPECTED_TOKEN: 'look for a missing comma, bracket, colon or quote here or just before',
  BLOCK_AS_IMPLICIT_KEY: 'look for a second colon on this line; put text with a colon in quotes',
  MULTILINE_IMPLICIT_KEY: 'a key stands on one line, followed by a colon',
  KEY_OVER_1024_CHARS: 'look for a missing colon or quote',
  BAD_SCALAR_START: 'put text that begins with this character in quotes',
}

/**
 * YAML text as plain values, with the position of everything in it. Never throws: anchors, aliases and tags are refused,
 * length and depth are bounded.
 */
export function parseYaml(text: string, file: string): Parsed {
  const lines = new LineCounter()
  const at = (offset: number): Position => {
    const { line, col } = lines.linePos(offset)
    return { file, line: Math.max(1, line), column: Math.max(1, col) }
  }
  const whole: Position = { file, line: 1, column: 1 }
  const failed = (what: string, remedy: string): Parsed => ({
    raw: undefined,
    where: () => whole,
    problems: [{ severity: 'error', ...whole, path: '', what, remedy }],
    sound: false,
  })
  if (text.length > longest_bytes)
    return failed('the file is larger than half a million characters', 'check that it is the right file')
  try {
    // The parser's own search for doubled keys compares each with all: a long file would take minutes.
    const document = parseDocument(text, {
      lineCounter: lines,
      prettyErrors: false,
      uniqueKeys: false,
      schema: 'core',
      merge: false,
      logLevel: 'error',
    })
    const broken: Problem[] = document.errors.slice(0, 50).map(({ code, message, pos }) => ({
      severity: 'error',
      ...at(pos[0]),
      path: '',
      what: structure(message),
      remedy: /^Flow/.test(message)
        ? 'close it; a [ is closed by ], a { by }'
        : (remedies[code] ?? 'compare with the files in profiles/'),
    }))
    const { doubled, foreign } = walk(document, at)
    const sound = broken.length === 0 && foreign.length === 0
    return {
      raw: sound ? (document.toJS({ maxAliasCount: 0 }) as unknown) : undefined,
      where: locator(document, at, whole),
      problems: [...broken, ...doubled, ...foreign],
      sound,
    }
  } catch (error) {
    return failed(
      error instanceof RangeError ? 'the file is nested too deeply' : 'this cannot be read as YAML',
      'compare with the files in profiles/',
    )
  }
}

/** The parser's own words, except where they would puzzle. */
function structure(message: string): string {
  const first = message.split('\n')[0] ?? ''
  if (
    /^Flow (?:sequence|map|mapping)/.test(first) ||
    first.includes('must be sufficiently indented and end with')
  )
    return `this is not YAML: a ${first.includes(']') ? 'bracket [' : 'brace {'} opened before is not closed here`
  return `this is not YAML: ${first}`
}

/** A surrogate without its other half, which no text in UTF-8 can hold: the record could not keep it as it is. */
const halfCharacter = /\p{Surrogate}/u

/** Two entries of one name; and anchors, aliases and tags, which are never needed here and let files grow without bound. */
function walk(
  document: Document.Parsed,
  at: (offset: number) => Position,
): { readonly doubled: readonly Problem[]; readonly foreign: readonly Problem[] } {
  const doubled: Problem[] = []
  const foreign: Problem[] = []
  const tell = (list: Problem[], node: Node, what: string, remedy: string): void => {
    if (list.length < 20)
      list.push({ severity: 'error', ...at(node.range?.[0] ?? 0), path: '', what, remedy })
  }
  visit(document, {
    Node: (_, node) => {
      if (isAlias(node)) {
        tell(foreign, node, `an alias (*${node.source.slice(0, 40)}) stands here`, 'write the entry out')
        return
      }
      if (node.anchor !== undefined)
        tell(foreign, node, `an anchor (&${node.anchor.slice(0, 40)}) stands here`, 'leave it out')
      if (node.tag !== undefined && !node.tag.startsWith('tag:yaml.org,2002:'))
        tell(foreign, node, `a tag (${node.tag.slice(0, 40)}) stands here`, 'leave it out')
      if (isScalar(node) && typeof node.value === 'string' && halfCharacter.test(node.value))
        tell(foreign, node, 'half a character stands here, an escape from \\uD800 to \\uDFFF', 'write it out')
      if (!isMap(node)) return
      const keys = new Set<string>()
      for (const { key } of node.items) {
        if (!isScalar(key)) {
          if (isNode(key) && !isAlias(key))
            tell(
              foreign,
              key,
              'a list or group stands where a name is wanted',
              'write a name before the colon',
            )
          continue
        }
        const name = String(key.value)
        if (keys.has(name))
          tell(
            doubled,
            key,
            `two entries have the same name: ${name.slice(0, 60)}`,
            'give each its own name, or remove one of them',
          )
        keys.add(name)
      }
    },
  })
  return { doubled, foreign }
}

/** Finds the place of a path: its value or key, else the key of the nearest thing around it that exists. */
function locator(document: Document.Parsed, at: (offset: number) => Position, whole: Position): Where {
  return (path: Path, which = 'value') => {
    let node: unknown = document.contents
    let key: unknown = null
    for (const [depth, part] of path.entries()) {
      let next: unknown
      let nextKey: unknown = null
      if (isMap(node)) {
        // Of two entries with one name the later is the one that was read.
        const pair = node.items.findLast(
          ({ key: each }) => (isScalar(each) ? String(each.value) : String(each)) === String(part),
        )
        next = pair?.value
        nextKey = pair?.key ?? null
      } else if (isSeq(node) && typeof part === 'number') next = node.items[part]
      if (nextKey === null && (next === undefined || next === null)) return place(key ?? node)
      key = nextKey ?? next
      node = next
      if (depth === path.length - 1)
        return place(which === 'key' || !isNode(node) || isAlias(node) ? key : node)
    }
    return place(node)
  }
  function place(node: unknown): Position {
    return isNode(node) && node.range != null ? at(node.range[0]) : whole
  }
}
