import type { ApiDiagnosis } from '../../service/api/index.js'

/** The suspects that are worth a mark. */
const marked = 5

export type Found = Pick<ApiDiagnosis, 'hypotheses' | 'next' | 'equipment'>

/** What is said on the drawing, by the ids of its boxes: of the likeliest causes, both parts of a pair, and of both leads of the next reading. */
export function wordsOf({ equipment, hypotheses, next }: Found): Map<string, string> {
  const wanted = new Map<string, string>()
  const say = (id: string, name: string, words: string): void => {
    const said = wanted.get(id)
    wanted.set(id, said === undefined ? `${name}: ${words}` : `${said}, ${words}`)
  }
  for (const [i, { of }] of hypotheses.slice(0, marked).entries())
    for (const part of of) {
      const others = of.filter((other) => other !== part)
      say(
        `part ${part}`,
        part,
        `suspect ${i + 1}${others.length === 0 ? '' : ` together with ${others.join(', ')}`}`,
      )
    }
  if (next !== null) {
    const [red, black] = next.leads
    const across = black !== equipment.chassis_node
    say(`node ${red}`, red, across ? 'next reading, red lead' : 'next reading')
    if (across) say(`node ${black}`, black, 'next reading, black lead')
  }
  return wanted
}
