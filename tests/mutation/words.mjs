// Words of messages are not changed: a text of four words or more is for a person, and that some other text stands there is nothing that a
// test of the decisions should notice. Names of states, kinds and codes are shorter, and are changed.
const text = ({ node }) => {
  if (node.type === 'StringLiteral') return node.value
  if (node.type === 'TemplateLiteral') return node.quasis.map(({ value }) => value.raw).join(' ')
  return ''
}
const isSentence = (path) => text(path).split(/\s+/).filter((word) => /[a-z]{2}/i.test(word)).length >= 4

export const because = 'words of a message'
/** With what is counted in them: a figure put into a sentence is told, and decided elsewhere. */
const words = { shouldIgnore: (path) => (isSentence(path) ? because : undefined) }

export const strykerPlugins = [{ kind: 'Ignore', name: 'words', value: words }]
