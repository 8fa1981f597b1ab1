import { compareRuns, storyOf } from '../../record/index.js'
import { comparisonText } from '../compare-text.js'
import { sealAlarm } from '../story-text.js'
import { type Exit, exits } from '../exits.js'
import { type Io, printJson } from '../io.js'
import { withRun } from '../with-run.js'
import type { Register } from './index.js'

/** `slowglow compare A B`: what drew more and what less, step by step, beyond what the instruments may be wrong by. */
export const registerCompare: Register = (program, io) => {
  program
    .command('compare')
    .description('two runs step by step: what draws more, what less, beyond the measuring error')
    .argument('<first>', 'run file, or a piece of its name among the runs')
    .argument('<second>', 'the other')
    .option('--json', 'one JSON document on standard output')
    .action((first: string, second: string, { json = false }: { json?: boolean }) => {
      process.exitCode = compare(first, second, json, io)
    })
}

function compare(first: string, second: string, json: boolean, io: Io): Exit {
  return withRun(first, json, io, (a) =>
    withRun(second, json, io, (b) => {
      const stories = [storyOf(a), storyOf(b)] as const
      const comparison = compareRuns(...stories)
      if (json) printJson(io, comparison)
      else io.out(comparisonText(comparison))
      return stories.every((story) => story.damage.length === 0 && sealAlarm(story) === null)
        ? exits.done
        : exits.finding
    }),
  )
}
