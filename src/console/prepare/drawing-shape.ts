export interface Drawing {
  readonly width: number
  readonly height: number
  readonly boxes: readonly {
    readonly id: string
    readonly x: number
    readonly y: number
    readonly width: number
    readonly height: number
    readonly kind: 'node' | 'part' | 'tube' | 'rail'
    readonly lines: readonly string[]
    /** One end is at the chassis. */
    readonly grounded: boolean
  }[]
  readonly wires: readonly {
    readonly id: string
    readonly points: readonly { readonly x: number; readonly y: number }[]
  }[]
}

/** Of a character, of a drawing's own letters and of the heavier ones at a mark. */
export const letter = { usual: 6.6, mark: 7.2 } as const

export interface WordsAt {
  readonly x: number
  readonly y: number
  readonly anchor: 'start' | 'middle' | 'end'
}

interface Area {
  readonly left: number
  readonly right: number
  readonly top: number
  readonly bottom: number
}

type Box = Drawing['boxes'][number]

/** What stands under a box that is drawn as one end at the chassis. */
export const chassis_height = 14

/** Of a box with its own letters: a node's stand above it. */
function areaOf({ x, y, width, height, kind, lines }: Box): Area {
  const letters = (Math.max(0, ...lines.map(({ length }) => length)) * letter.usual) / 2
  return kind === 'node'
    ? { left: x - letters, right: x + letters, top: y - 20, bottom: y + 6 }
    : { left: x - width / 2, right: x + width / 2, top: y - height / 2, bottom: y + height / 2 }
}

function areaOfWords(words: string, { x, y, anchor }: WordsAt): Area {
  const wide = words.length * letter.mark
  const left = anchor === 'middle' ? x - wide / 2 : anchor === 'start' ? x : x - wide
  return { left, right: left + wide, top: y - 12, bottom: y + 4 }
}

function shared(a: Area, b: Area): number {
  const across = Math.min(a.right, b.right) - Math.max(a.left, b.left)
  const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top)
  return across > 0 && down > 0 ? across * down : 0
}

/** Where the words at each mark stand: below it, or where they cover least of what else is drawn and said. */
export function wordsAt(
  { boxes }: Drawing,
  marks: ReadonlyMap<string, string>,
): ReadonlyMap<string, WordsAt> {
  const taken = boxes.map(areaOf)
  const found = new Map<string, WordsAt>()
  for (const box of boxes) {
    const words = marks.get(box.id)
    if (words === undefined) continue
    const { x, y, height, grounded } = box
    const half = Math.max(box.width, 26) / 2 + 10
    const below = y + height / 2 + (grounded ? 13 : 18)
    const above = areaOf(box).top - 8
    const places: readonly WordsAt[] = [
      { x, y: below, anchor: 'middle' },
      { x, y: above, anchor: 'middle' },
      { x: x + half, y: y + 4, anchor: 'start' },
      { x: x - half, y: y + 4, anchor: 'end' },
      { x, y: below + 16, anchor: 'middle' },
      { x, y: above - 16, anchor: 'middle' },
    ]
    const covers = (at: WordsAt): number => {
      const own = areaOfWords(words, at)
      return taken.reduce((sum, other) => sum + shared(own, other), 0)
    }
    let [best, least] = [places[0] ?? { x, y: below, anchor: 'middle' as const }, Infinity]
    for (const at of places) {
      const covered = covers(at)
      if (covered < least) [best, least] = [at, covered]
    }
    found.set(box.id, best)
    taken.push(areaOfWords(words, best))
  }
  return found
}

/** What a drawing takes with the words at its marks and at its last nodes, which stand wider than their boxes: nothing is cut off. */
export function extentOf(
  drawing: Drawing,
  marks: ReadonlyMap<string, string>,
): { readonly left: number; readonly top: number; readonly width: number; readonly height: number } {
  let [left, right, top, bottom] = [0, drawing.width, 0, drawing.height]
  const words = wordsAt(drawing, marks)
  for (const box of drawing.boxes) {
    const at = words.get(box.id)
    const letters = areaOf(box)
    const areas = at === undefined ? [letters] : [letters, areaOfWords(marks.get(box.id) ?? '', at)]
    for (const area of areas) {
      left = Math.min(left, area.left - 4)
      right = Math.max(right, area.right + 4)
      top = Math.min(top, area.top - 4)
      bottom = Math.max(bottom, area.bottom + 4)
    }
  }
  return {
    left: Math.floor(left),
    top: Math.floor(top),
    width: Math.ceil(right) - Math.floor(left),
    height: Math.ceil(bottom) - Math.floor(top),
  }
}
