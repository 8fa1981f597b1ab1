/** Text broken between words so that no line is longer than `columns`; what continues an indented line stands two further in. */
export function wrapText(text: string, columns: number): string {
  return text
    .split('\n')
    .flatMap((line) => wrapLine(line, Math.max(20, columns)))
    .join('\n')
}

/** As `wrapText`, where there is a terminal; a line with a word that fits none, a path, is left to the terminal: it can be copied then. */
export function toTerminal(text: string, columns: number | undefined): string {
  if (columns === undefined) return text
  return text
    .split('\n')
    .map((line) =>
      line.split(/\s/).some((word) => word.length > columns - 4) ? line : wrapText(line, columns),
    )
    .join('\n')
}

export function wrapLine(line: string, columns: number): string[] {
  if (Array.from(line).length <= columns) return [line]
  const indent = /^\s*(?:[-?] )?/.exec(line)?.[0].length ?? 0
  const marked = /[-?] $/.test(line.slice(0, indent))
  const rest = ' '.repeat(Math.min(marked || indent === 0 ? indent : indent + 2, 20))
  const lines: string[] = []
  let now = line.slice(0, indent)
  let empty = true
  // Runs of blanks inside are columns and stay; a break swallows them.
  for (const piece of line.slice(indent).split(/(?<=\s)(?=\S)/)) {
    const length = Array.from(now + piece.trimEnd()).length
    if (!empty && length > columns) {
      lines.push(now.trimEnd())
      now = rest
      empty = true
    }
    now += piece
    empty = false
    // A word longer than a line has nowhere better to break.
    for (
      let characters = Array.from(now.trimEnd());
      characters.length > columns;
      characters = Array.from(now)
    ) {
      lines.push(characters.slice(0, columns).join(''))
      now = rest + characters.slice(columns).join('')
    }
  }
  return [...lines, now.trimEnd()]
}
