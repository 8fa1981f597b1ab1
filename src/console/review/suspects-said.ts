import type { ApiDiagnosis } from '../../service/api/index.js'

/** The suspects that are worth a mark. */
const marked = 5

export type Found = Pick<ApiDiagnosis, 'hypotheses' | 'next' | 'equipment'>

/** Whether there is anything to mark: also where no cause is told and a reading is asked for all the same. */
export const worthDrawing = ({ hypotheses, next }: Pick<Found, 'hypotheses' | 'next'>): boolean =>
  hypotheses.length > 0 || next !== null

/**
 * What is said on the drawing, by the ids of its boxes: of the likeliest causes, both parts of a pair, and of what cannot be told
 * from them; of both leads of the next reading.
 */
export function wordsOf({ equipment, hypotheses, next }: Found): Map<string, string> {
  const wanted = new Map<string, string>()
  const say = (id: string, name: string, words: string): void => {
    const said = wanted.get(id)
    wanted.set(id, said === undefined ? `${name}: ${words}` : `${said}, ${words}`)
  }
  for (const [i, { of, parts, rivals }] of hypotheses.slice(0, marked).entries()) {
    for (const part of of) {
      const others = of.filter((other) => other !== part)
      say(
        `part ${part}`,
        part,
        `suspect ${i + 1}${others.length === 0 ? '' : ` together with ${others.join(', ')}`}`,
      )
    }
    for (const part of parts)
      if (!of.includes(part) && rivals.some((rival) => isOf(rival, part)))
        say(`part ${part}`, part, `tied with suspect ${i + 1}`)
  }
  if (next !== null) {
    const [red, black] = next.leads
    const across = black !== equipment.chassis_node
    say(`node ${red}`, red, across ? 'next reading, red lead' : 'next reading')
    if (across) say(`node ${black}`, black, 'next reading, black lead')
  }
  return wanted
}

/** Whether a fault, or either half of a pair, is one of a part. */
const isOf = (fault: string, part: string): boolean =>
  fault.split(' + ').some((half) => half.startsWith(`${part}:`))
