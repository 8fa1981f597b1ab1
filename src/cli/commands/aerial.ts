import { formatNumber, parseQuantity } from '../../quantities/index.js'
import { aerialCaution, aerialFigures, aerialProblem, usualEnd, withAccuracy } from '../../rf/index.js'
import { exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { refuse } from '../refuse.js'
import { figuresDocument, figuresText } from '../rf/text.js'
import { toTerminal } from '../wrap.js'
import type { Register } from './index.js'

/** `slowglow aerial FREQUENCY`: lengths of wire elements, with what to cut and how far to trim. */
export const registerAerial: Register = (program, io) => {
  program
    .command('aerial')
    .argument('<frequency>', 'as 21.2MHz')
    .description('lengths of quarter-wave and half-wave elements and radials for a frequency')
    .option(
      '--end-factor <factor>',
      `how much shorter than in free space a resonant wire is`,
      String(usualEnd),
    )
    .option('--json', 'one JSON document')
    .action((frequency: string, options: { readonly endFactor: string; readonly json?: boolean }) => {
      process.exitCode = aerial(frequency, options, io)
    })
}

/** Returns the exit code. */
function aerial(
  text: string,
  options: { readonly endFactor: string; readonly json?: boolean },
  io: Io,
): number {
  const json = options.json === true
  const usage = (where: string, problem: string): number =>
    refuse(io, json, { exit: exits.usage, where, what: `slowglow aerial: ${problem}.` })
  const frequency = parseQuantity(text, 'Hz')
  if (!frequency.ok) return usage(text, `${frequency.problem}; ${frequency.remedy}`)
  const end = Number(options.endFactor)
  const wrong = aerialProblem(frequency.value, end)
  if (wrong !== null) return usage(`${text} --end-factor ${options.endFactor}`, wrong)
  const figures = withAccuracy([frequency.value], 0, ([Hz = frequency.value]) => aerialFigures(Hz, end))
  if (json) {
    printJson(io, figuresDocument({ frequency_Hz: frequency.value, end_factor: end }, figures))
    return exits.done
  }
  io.out(
    [
      `Wire elements for ${formatNumber(frequency.value / 1e6, 6)} MHz`,
      figuresText(figures, 0),
      '',
      toTerminal(aerialCaution, io.columns),
    ].join('\n'),
  )
  return exits.done
}
