import type { Bench, Line } from '../bench/index.js'
import type { PortLine } from '../supply/index.js'

/** Every port of a bench that has a line, by the name lines and plans know it by. */
export function linesOf(bench: Bench): Readonly<Record<string, Line>> {
  const lines: Record<string, Line> = {}
  for (const [name, supply] of Object.entries(bench.supplies)) lines[name] = supply.line
  for (const [name, meter] of Object.entries(bench.meters)) if (meter.line !== null) lines[name] = meter.line
  return lines
}

/** Where each port is; a line that the program makes itself is looked up in `made`. */
export function placesOf(
  bench: Bench,
  made: Readonly<Record<string, PortLine>>,
): Readonly<Record<string, PortLine>> {
  const places: Record<string, PortLine> = {}
  for (const [name, line] of Object.entries(linesOf(bench))) {
    const place = line.kind === 'virtual' ? made[name] : line
    if (place !== undefined) places[name] = place
  }
  return places
}

/** How the program's own virtual bench is to be reached; null where every line is someone else's. */
export function virtualAs(bench: Bench): 'pty' | 'tcp' | null {
  const own = Object.values(linesOf(bench)).flatMap((line) => (line.kind === 'virtual' ? [line.as] : []))
  if (own.length === 0) return null
  return own.every((as) => as === 'tcp') ? 'tcp' : 'pty'
}
