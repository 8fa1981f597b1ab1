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

/** What a drawing takes with the words at its marks and at its last nodes, which stand wider than their boxes: nothing is cut off. */
export function extentOf(
  { width, height, boxes }: Drawing,
  marks: ReadonlyMap<string, string>,
): { readonly left: number; readonly top: number; readonly width: number; readonly height: number } {
  let [left, right, bottom] = [0, width, height]
  for (const { id, x, y, height: high, lines } of boxes) {
    const mark = marks.get(id)
    const half =
      Math.max(
        ...lines.map((line) => line.length * letter.usual),
        mark === undefined ? 0 : mark.length * letter.mark,
      ) / 2
    left = Math.min(left, x - half - 4)
    right = Math.max(right, x + half + 4)
    if (mark !== undefined) bottom = Math.max(bottom, y + high / 2 + 24)
  }
  return {
    left: Math.floor(left),
    top: 0,
    width: Math.ceil(right) - Math.floor(left),
    height: Math.ceil(bottom),
  }
}
