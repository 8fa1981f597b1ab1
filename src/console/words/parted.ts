/** What happened, why the limit is what it is, and what to do next: a paragraph each. */
export function parted(text: string): readonly [happened: string, ...more: string[]] {
  const [said = '', next] = text.split(/(?<=\.) (?=Next: )/, 2)
  const first = firstSentence(said)
  const why = said.slice(first.length).trim()
  return [first, ...(why === '' ? [] : [why]), ...(next === undefined ? [] : [next])]
}

/** To the first stop that stands in no brackets and is followed by another sentence. */
function firstSentence(text: string): string {
  for (const { index } of text.matchAll(/\.(?= \p{Lu})/gu)) {
    const before = text.slice(0, index)
    if (before.split('(').length === before.split(')').length) return text.slice(0, index + 1)
  }
  return text
}
