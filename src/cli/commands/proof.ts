import { appendToBook, coldState } from '../../book/index.js'
import type { Proof } from '../../proof/index.js'
import { keyedRunIn } from '../book/keyed-run.js'
import { proofFrom, type ProofWay, proofWays } from '../book/prove.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson, userName } from '../io.js'
import { collect } from '../live/flags.js'
import { type Refusal, refuse } from '../refuse.js'
import { figuresText } from '../rf/text.js'
import { bookAt, bookHelp, setFile } from '../set-file.js'
import { toTerminal } from '../wrap.js'
import type { Register } from './index.js'

/** `slowglow proof receive|transmit|aerial FILE`: readings at radio frequency, computed, judged and kept in the set's book. */
export const registerProof: Register = (program, io) => {
  const proof = program
    .command('proof')
    .description(
      'the proof at radio frequency: readings computed, held against ratings and sources, kept in the book',
    )
  for (const way of proofWays) {
    const command = proof
      .command(way.of)
      .description(way.about)
      .argument('<file>', "the set's equipment file, or a profile that names it")
    for (const { flag: name, words, needed } of way.flags)
      if (needed) command.requiredOption(`--${name} <value>`, words)
      else command.option(`--${name} <value>`, words)
    for (const { flag: name, words, among } of way.choices)
      if (among === null) command.option(`--${name}`, words)
      else if (among === 'modes') command.requiredOption(`--${name} <name>`, words)
      else command.option(`--${name} <which>`, `${words}: ${among.join(', ')}`, among[0])
    command
      .option(
        '--instrument <words>',
        'an instrument it was read with; needed, may be given again',
        collect,
        [],
      )
      .option('--accuracy <part>', 'of the readings, as "5 %"', '5 %')
      .option('--book <file>', bookHelp)
      .option('--by <name>', 'who read it; unless given: the user’s name')
      .option('--on <day>', 'day on which it was read, as 2026-11-29; unless given: now')
      .option('--json', 'one JSON document on standard output')
      .action((file: string, options: Readonly<Record<string, unknown>>) => {
        process.exitCode = prove(way, file, options, io)
      })
  }
}

/** Returns the exit code. */
function prove(way: ProofWay, file: string, options: Readonly<Record<string, unknown>>, io: Io): Exit {
  const json = options['json'] === true
  const no = (refusal: Refusal): Exit => refuse(io, json, refusal)
  const usage = (what: string): Exit => no({ exit: exits.usage, what: `slowglow proof ${way.of}: ${what}.` })
  const set = setFile(file, io)
  if ('exit' in set) return no(set)
  const named = bookAt({ book: typeof options['book'] === 'string' ? options['book'] : undefined }, io)
  const state = coldState(set.equipment, set.path, named)
  if ('trouble' in state) return no({ exit: exits.recordNotAvailable, where: file, what: state.trouble })
  const { book } = state
  const { path } = book
  const made = proofFrom(
    way,
    options,
    options['instrument'] as readonly string[],
    set.equipment,
    book.entries,
    (mode) => keyedRunIn(book.entries, mode),
  )
  if (typeof made === 'string') return usage(made)
  const { proof, body, accuracy } = made
  const by = typeof options['by'] === 'string' ? options['by'] : userName(io)
  const on = typeof options['on'] === 'string' ? options['on'] : null
  const stamp = { at: new Date().toISOString(), by, expects: book.entries.length }
  const kept = appendToBook(path, stamp, [{ body, on }])
  if ('trouble' in kept) return no({ exit: exits.recordNotAvailable, where: path, what: kept.trouble })
  if (json) printJson(io, { ...proof, book: path })
  else {
    for (const caution of way.cautions) io.err(caution)
    io.out(toTerminal(proofText(proof, accuracy), io.columns))
  }
  return proof.verdict === 'not shown' ? exits.finding : exits.done
}

function proofText(proof: Proof, accuracy: number): string {
  return [
    `${proof.of}, ${proof.what}: ${proof.verdict.toUpperCase()}`,
    figuresText(proof.figures, accuracy),
    ...proof.judged.map(({ verdict, text, source }) => `- ${verdict}: ${text} [${source}]`),
  ].join('\n')
}
