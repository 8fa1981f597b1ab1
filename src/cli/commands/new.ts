import { existsSync, mkdirSync, writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { createInterface } from 'node:readline'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { AnswersEnded, Dialogue } from '../new/dialogue.js'
import { askAll } from '../new/questions.js'
import { bringUpFile, textsOf } from '../new/texts.js'
import { planFiles } from '../plan-files.js'
import { planPage } from '../plan-text.js'
import { placed, problemText } from '../problems.js'
import { refuse } from '../refuse.js'
import { checkFiles } from './check.js'
import type { Register } from './index.js'

/** `slowglow new DIR`: asks some twenty questions and writes the first files of a set. */
export const registerNew: Register = (program, io) => {
  program
    .command('new')
    .description(
      'ask some twenty questions, write the first files of a set, print the plan; overwrites nothing',
    )
    .argument('<dir>', 'directory for the files')
    .option('--json', 'one JSON document on standard output')
    .action(async (dir: string, options: { json?: boolean }) => {
      const lines = createInterface({ input: process.stdin, terminal: false })
      try {
        process.exitCode = await newSet(dir, lines[Symbol.asyncIterator](), options.json === true, io)
      } finally {
        lines.close()
      }
    })
}

const lastOfAll = 'own-mains.yaml'
const names = [
  'equipment.yaml',
  'bench.yaml',
  'bench-by-hand.yaml',
  'forming-bench.yaml',
  'reform.yaml',
  'own-mains-bench.yaml',
  'own-transformer.yaml',
  lastOfAll,
  'receive.yaml',
  'transmit.yaml',
] as const

/** Returns the exit code. `lines` are the answers, in order. */
export async function newSet(
  dir: string,
  lines: AsyncIterator<string>,
  json: boolean,
  io: Io,
): Promise<number> {
  const at = resolve(io.cwd, dir)
  const taken = names.find((name) => existsSync(join(at, name)))
  if (taken !== undefined)
    return refuse(io, json, {
      exit: exits.usage,
      where: join(dir, taken),
      what: `slowglow new: ${join(dir, taken)} is there already, and nothing is overwritten.`,
      remedy: 'Name another directory.',
    })
  const dialogue = new Dialogue(lines, io.err)
  dialogue.tell(
    'Enter takes what stands in brackets. Write units with quantities. Nothing is energised here.',
  )
  let texts: Readonly<Record<string, string>>
  let bringUp: string
  try {
    const answers = await askAll(dialogue)
    texts = textsOf(answers)
    bringUp = join(at, bringUpFile(answers.modes))
  } catch (error) {
    if (!(error instanceof AnswersEnded)) throw error
    return refuse(io, json, {
      exit: exits.usage,
      where: error.message,
      what: `slowglow new: the answers ended at "${error.message}". Nothing was written.`,
      remedy: 'Give an answer to every question that has none in brackets.',
    })
  }
  const written: string[] = []
  try {
    mkdirSync(at, { recursive: true })
    for (const [name, text] of Object.entries(texts)) {
      writeFileSync(join(at, name), text, { flag: 'wx' })
      written.push(join(dir, name))
    }
  } catch (error) {
    const why = error instanceof Error ? error.message : String(error)
    return refuse(io, json, {
      exit: exits.usage,
      where: dir,
      what: `slowglow new: the files could not be written (${why}). Written so far: ${written.join(', ') || 'none'}.`,
      remedy: 'Name a directory that can be written.',
    })
  }
  io.err(`Written: ${written.join(', ')}. Read them, correct what is not so, and keep them with the set.`)
  const problemsOf = (wanted: (name: string) => boolean): ReturnType<typeof checkFiles>['problems'] => {
    const profiles = Object.keys(texts).filter((name) => !/^equipment|bench/.test(name) && wanted(name))
    return checkFiles(
      profiles.map((name) => join(at, name)),
      io.cwd,
    ).problems
  }
  const problems = problemsOf((name) => name !== lastOfAll)
  // What its own pack makes of it at full mains is told now, and is no mistake in these files.
  const later = problemsOf((name) => name === lastOfAll).filter(
    ({ what }) => !problems.some((each) => each.what === what),
  )
  const sound = !problems.some(({ severity }) => severity === 'error')
  const planned = sound ? planFiles(bringUp, undefined, io.cwd) : null
  if (json)
    printJson(io, {
      files: written,
      ok: sound,
      problems: [...problems, ...later],
      plan: planned?.plan ?? null,
    })
  else {
    for (const problem of placed([...problems, ...later], io.cwd)) io.out(problemText(problem))
    if (planned !== null && planned.plan === null)
      for (const { what, remedy } of planned.problems) io.out(`${what}\n    ${remedy}`)
    if (planned?.plan != null) io.out(planPage(planned.plan))
  }
  return sound ? exits.done : exits.finding
}
