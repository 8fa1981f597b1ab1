// How a change is told, and known again from one run to the next: the line it begins in, what was there, what was put there.

/** @param {string} source @param {{start: {line: number, column: number}, end: {line: number, column: number}}} location counted from one */
export function toldOf(source, { start, end }, mutatorName, replacement) {
  const text = source.split('\n')
  const first = text[start.line - 1] ?? ''
  const was =
    start.line === end.line
      ? first.slice(start.column - 1, end.column - 1)
      : [first.slice(start.column - 1), ...text.slice(start.line, end.line)].join(' ')
  return `\`${short(first)}\`: \`${short(was)}\` → \`${short(replacement ?? mutatorName)}\``
}

/** Behind what no test came by. */
export const unreached = ' (no test comes by)'

function short(code) {
  const flat = code.replaceAll(/\s+/g, ' ').replaceAll('`', "'").replaceAll('—', '-').trim()
  return flat.length > 90 ? `${flat.slice(0, 88)} …` : flat
}
