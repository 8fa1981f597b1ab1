/**
 * Figures large enough to be read from across the bench: five rows of blocks, two columns for each dot. The shapes are ours.
 */
const rows = 5
const shapes: Readonly<Record<string, readonly [string, string, string, string, string]>> = {
  '0': ['###', '#.#', '#.#', '#.#', '###'],
  '1': ['.#.', '##.', '.#.', '.#.', '###'],
  '2': ['###', '..#', '###', '#..', '###'],
  '3': ['###', '..#', '.##', '..#', '###'],
  '4': ['#.#', '#.#', '###', '..#', '..#'],
  '5': ['###', '#..', '###', '..#', '###'],
  '6': ['###', '#..', '###', '#.#', '###'],
  '7': ['###', '..#', '..#', '.#.', '.#.'],
  '8': ['###', '#.#', '###', '#.#', '###'],
  '9': ['###', '#.#', '###', '..#', '###'],
  '-': ['...', '...', '###', '...', '...'],
  '.': ['.', '.', '.', '.', '#'],
  '–': ['...', '...', '###', '...', '...'],
}

/** A number in blocks; null where it has a character that has no shape. */
function blocks(number: string): readonly string[] | null {
  const lines = Array.from({ length: rows }, () => '')
  for (const character of number) {
    const shape = shapes[character]
    if (shape === undefined) return null
    for (const [at, row] of shape.entries())
      lines[at] += `${Array.from(row, (dot) => (dot === '#' ? '██' : '  ')).join('')}  `
  }
  return lines
}

/** Several quantities beside each other, each with its unit at its foot; null where they do not fit into `columns`. */
export function largeFigures(figures: readonly string[], columns: number): readonly string[] | null {
  const lines = Array.from({ length: rows }, () => ' ')
  for (const figure of figures) {
    const [number = '', unit = ''] = figure.split(' ')
    const shape = blocks(number)
    if (shape === null) return null
    for (const [at, row] of shape.entries())
      lines[at] += ` ${row}${at === rows - 1 ? unit : ' '.repeat(unit.length)}   `
  }
  return lines.some((line) => line.trimEnd().length > columns) ? null : lines.map((line) => line.trimEnd())
}
