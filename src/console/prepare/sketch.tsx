import { useEffect, useRef } from 'preact/hooks'
import { chassis_height, type Drawing, extentOf, type WordsAt, wordsAt } from './drawing-shape.js'

const none: ReadonlyMap<string, string> = new Map()

/** A rail's network as laid out, with marks on what is spoken of. */
export function Sketch({
  drawing,
  scale,
  label,
  marks = none,
}: {
  readonly drawing: Drawing
  /** null: as it fits. */
  readonly scale: number | null
  readonly label: string
  /** Words at a box, by its id: drawn in a frame beside it, so that no colour alone tells of it. */
  readonly marks?: ReadonlyMap<string, string>
}) {
  const { boxes, wires } = drawing
  const { left, top, width, height } = extentOf(drawing, marks)
  const words = wordsAt(drawing, marks)
  const frame = useRef<HTMLDivElement>(null)
  // What it hangs on stands at the left, half way down: that is where one begins to look.
  useEffect(() => {
    const element = frame.current
    const rail = boxes.find(({ kind }) => kind === 'rail')
    if (element !== null && rail !== undefined && scale !== null)
      element.scrollTop = (rail.y - top) * scale - element.clientHeight / 2
  }, [drawing, scale, top])
  return (
    <div
      class="drawing"
      data-fitted={scale === null}
      tabIndex={0}
      role="region"
      aria-label={label}
      ref={frame}
    >
      <svg
        width={width * (scale ?? 1)}
        height={height * (scale ?? 1)}
        viewBox={`${left} ${top} ${width} ${height}`}
        role="img"
        aria-label={label}
      >
        {wires.map(({ id, points }) => (
          <polyline key={id} class="wire" points={points.map(({ x, y }) => `${x},${y}`).join(' ')} />
        ))}
        {boxes.map((box) => (
          <Box key={box.id} box={box} mark={marks.get(box.id) ?? null} at={words.get(box.id) ?? null} />
        ))}
      </svg>
    </div>
  )
}

function Box({
  box,
  mark,
  at,
}: {
  readonly box: Drawing['boxes'][number]
  readonly mark: string | null
  readonly at: WordsAt | null
}) {
  const { x, y, width, height, kind, lines, grounded } = box
  const high = grounded ? height - chassis_height : height
  const top = y - height / 2
  const middle = top + high / 2
  return (
    <g class={`box ${kind}${mark === null ? '' : ' marked'}`}>
      {kind === 'node' ? (
        <circle cx={x} cy={y} r={4} />
      ) : (
        <rect x={x - width / 2} y={top} width={width} height={high} rx={kind === 'tube' ? high / 2 : 2} />
      )}
      {grounded && <Chassis x={x} y={top + high} />}
      {lines.map((line, i) => (
        <text
          key={i}
          x={x}
          y={kind === 'node' ? y - 9 : middle + (i - (lines.length - 1) / 2) * 14 + 4}
          text-anchor="middle"
        >
          {line}
        </text>
      ))}
      {mark !== null && at !== null && (
        <>
          <rect
            class="mark"
            x={x - Math.max(width, 26) / 2 - 4}
            y={top - 4}
            width={Math.max(width, 26) + 8}
            height={high + 8}
            rx={6}
          />
          <text class="mark-words" x={at.x} y={at.y} text-anchor={at.anchor}>
            {mark}
          </text>
        </>
      )}
    </g>
  )
}

/** Three lines, each shorter than the one above. */
export function Chassis({ x, y }: { readonly x: number; readonly y: number }) {
  return (
    <path class="chassis" d={`M${x} ${y}v4M${x - 9} ${y + 4}h18M${x - 6} ${y + 8}h12M${x - 3} ${y + 12}h6`} />
  )
}
