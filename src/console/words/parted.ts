/** What happened, why the limit is what it is, and what to do next: a paragraph each. */
export function parted(text: string): readonly [happened: string, ...more: string[]] {
  const [said = '', next] = text.split(/(?<=\.) (?=Next: )/, 2)
  const end = /\.(?= \p{Lu})/u.exec(said)
  const first = end === null ? said : said.slice(0, end.index + 1)
  const why = said.slice(first.length).trim()
  return [first, ...(why === '' ? [] : [why]), ...(next === undefined ? [] : [next])]
}
