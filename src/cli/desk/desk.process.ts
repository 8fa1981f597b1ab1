import { setPriority } from 'node:os'
import { type DeskQuestions, deskPlaceShape, deskQuestionShape, Refused } from '../../service/index.js'
import { filesDesk } from './files.js'
import type { Where } from './place.js'
import { plansDesk } from './plans.js'
import { runsDesk } from './runs.js'
import { setsDesk } from './sets.js'

/*
 * Answers what the page asks with the functions that the commands use, one question after another, beside the process that
 * supervises a run and behind it and the controller in line for the processor.
 */

const place = deskPlaceShape.parse(JSON.parse(process.argv[2] ?? ''))
const where: Where = { ...place, env: process.env }
const desk: DeskQuestions = {
  ...filesDesk(where),
  ...plansDesk(where),
  ...setsDesk(where),
  ...runsDesk(where),
}

try {
  setPriority(10)
} catch {
  // Where that is not allowed it takes its turn like everyone.
}
// A terminal's Ctrl-C is meant for the service, which ends this process by letting go of it.
for (const signal of ['SIGINT', 'SIGTSTP', 'SIGHUP', 'SIGQUIT'] as const) process.on(signal, () => undefined)
process.on('disconnect', () => {
  process.exit(0)
})

let turn: Promise<void> = Promise.resolve()
process.on('message', (raw) => {
  turn = turn.then(() => answer(raw))
})

async function answer(raw: unknown): Promise<void> {
  const question = deskQuestionShape.parse(raw)
  const send = (message: object): void => {
    if (process.connected) process.send?.({ id: question.id, ...message }, () => undefined)
  }
  try {
    // Both ends are ours and of one version; what a person wrote was checked where it came in.
    const told: unknown = desk[question.what as keyof DeskQuestions](question.ask as never)
    send({ text: JSON.stringify(await Promise.resolve(told)) })
  } catch (error) {
    if (error instanceof Refused) send({ refused: { status: error.status, error: error.error } })
    else send({ fault: error instanceof Error ? (error.stack ?? error.message) : String(error) })
  }
}
