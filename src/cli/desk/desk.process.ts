import { writeFileSync } from 'node:fs'
import { setPriority } from 'node:os'
import {
  type DeskQuestions,
  deskPlaceShape,
  deskQuestionShape,
  deskStandsBehindShape,
  Refused,
} from '../../service/index.js'
import { filesDesk } from './files.js'
import type { Where } from './place.js'
import { plansDesk } from './plans.js'
import { runsDesk } from './runs.js'
import { setsDesk } from './sets.js'

/*
 * Answers what the page asks with the functions that the commands use, one question after another, beside the process that
 * supervises a run; told that there is one, behind it and the controller in line for the processor.
 */

const place = deskPlaceShape.parse(JSON.parse(process.argv[2] ?? ''))
const where: Where = { ...place, env: process.env }
const desk: DeskQuestions = {
  ...filesDesk(where),
  ...plansDesk(where),
  ...setsDesk(where),
  ...runsDesk(where),
}

/** On the scale of `nice`, our choice: among its own kind, and as a session beside a browser that draws what it answers. */
const behind = 10
const session_behind = 5
const tried_ms = 250
const tries = 5

/**
 * Behind the controller in line for the processor. Where Linux groups processes by session (sched(7), autogroup) `nice` counts within
 * one session only, and the controller has one of its own: there this process, alone in its own too, sets that back as a whole. Both
 * busy on one core it got half of it by `nice` alone, a quarter so. The system takes such a word ten times a second, from whomever.
 */
function standBehind(left: number): void {
  try {
    setPriority(behind)
    writeFileSync('/proc/self/autogroup', String(session_behind))
  } catch {
    // Where that is not allowed, or there is no such thing, it takes its turn like everyone.
    if (left > 0)
      setTimeout(() => {
        standBehind(left - 1)
      }, tried_ms).unref()
  }
}
// What is meant for the service, which ends this process by letting go of it.
for (const signal of ['SIGINT', 'SIGTSTP', 'SIGHUP', 'SIGQUIT'] as const) process.on(signal, () => undefined)
process.on('disconnect', () => {
  process.exit(0)
})

let turn: Promise<void> = Promise.resolve()
process.on('message', (raw) => {
  if (deskStandsBehindShape.safeParse(raw).success) standBehind(tries)
  else turn = turn.then(() => answer(raw))
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
