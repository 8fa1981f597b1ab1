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
  const glyphs = Array.from(number, (character) => shapes[character])
  if (glyphs.includes(undefined)) return null
  return Array.from({ length: rows }, (_, at) =>
    glyphs
      .map((glyph) => `${Array.from(glyph?.[at] ?? '', (dot) => (dot === '#' ? '██' : '  ')).join('')}  `)
      .join(''),
  )
}

/** Several quantities beside each other, each with its unit at its foot; null where they do not fit into `columns`. */
export function largeFigures(figures: readonly string[], columns: number): readonly string[] | null {
  const shown = figures.map((figure) => {
    const [number = '', unit = ''] = figure.split(' ')
    return { shape: blocks(number), unit }
  })
  if (shown.some(({ shape }) => shape === null)) return null
  const lines = Array.from({ length: rows }, (_, at) =>
    shown
      .map(({ shape, unit }) => `  ${shape?.[at] ?? ''}${at === rows - 1 ? unit : ' '.repeat(unit.length)}  `)
      .join('')
      .trimEnd(),
  )
  return lines.some((line) => line.length > columns) ? null : lines
}
