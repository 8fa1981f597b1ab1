/** Text for HTML and SVG: nothing a file or a person wrote can become markup. */
export function escaped(text: string): string {
  return text.replace(/[&<>"']/g, (sign) => `&#${sign.charCodeAt(0)};`)
}

/** A table with a heading row; cells are text. */
export function table(head: readonly string[], rows: readonly (readonly string[])[]): string {
  if (rows.length === 0) return ''
  const cells = (row: readonly string[], tag: 'th' | 'td'): string =>
    `<tr>${row.map((cell) => `<${tag}${tag === 'th' ? ' scope="col"' : ''}>${escaped(cell)}</${tag}>`).join('')}</tr>`
  return `<table><thead>${cells(head, 'th')}</thead><tbody>${rows.map((row) => cells(row, 'td')).join('\n')}</tbody></table>`
}

export function section(title: string, ...parts: readonly string[]): string {
  const inside = parts.filter((part) => part !== '')
  return inside.length === 0 ? '' : `<section><h2>${escaped(title)}</h2>\n${inside.join('\n')}\n</section>`
}

export const paragraph = (text: string): string => `<p>${escaped(text)}</p>`

/** Lines as they stand on a terminal, where their columns carry meaning. */
export const block = (lines: readonly string[]): string =>
  lines.length === 0 ? '' : `<pre>${escaped(lines.join('\n'))}</pre>`

export const list = (lines: readonly string[]): string =>
  lines.length === 0 ? '' : `<ul>${lines.map((line) => `<li>${escaped(line)}</li>`).join('\n')}</ul>`
