import { isTried, isWhole, type Result } from './cell.js'
import type { Killed } from './kills.js'
import { moments } from './kind.js'
import { kinds } from './kinds.js'

const ofKills = '## Killed at moments drawn by a seed'

/** For people: what each kind of fault came to at each moment, and each kill; where no kills were kept, what was told of them `before`. */
export function resultsTable(results: readonly Result[], kills: readonly Killed[], before = ''): string {
  const rows = kinds.map(({ name, in_detail }) => {
    const cells = moments.map((moment) => {
      const found = results.find((each) => each.kind === name && each.moment === moment)
      return found === undefined ? '' : cell(found)
    })
    return `| ${name} | ${cells.join(' | ')} | ${in_detail === null ? 'here only' : `\`${in_detail[0]}\``} |`
  })
  const at = before.indexOf(ofKills)
  const told = kills.length > 0 || at < 0 ? [...killed(kills), ''].join('\n') : before.slice(at)
  return [...head(results), ...rows, '', told].join('\n')
}

function cell(result: Result): string {
  const { as, exit, off_ms, outputs, reason, wrong, late, version } = result
  if (!isTried(result)) return ''
  if (wrong.length > 0) return `NOT AS IT MUST BE: ${wrong.join('; ')}`
  const within = off_ms === null ? '' : `, ${(off_ms / 1000).toFixed(2)} s`
  const code = exit === undefined || exit === null ? '' : `, exit ${exit}`
  return `${reason}${late ? ' (the machine was late)' : ''}${within}; ${outputs}${code} (${as}, ${version})`
}

const head = (results: readonly Result[]): readonly string[] => {
  const tried = results.filter(isTried)
  const held = tried.filter(({ wrong }) => wrong.length === 0)
  const times = held.flatMap(({ off_ms }) => (off_ms === null ? [] : [off_ms])).toSorted((a, b) => a - b)
  const longest = ((times.at(-1) ?? 0) / 1000).toFixed(2)
  const median = ((times[Math.floor(times.length / 2)] ?? 0) / 1000).toFixed(2)
  return [
    '# What was done to real runs, and what came of it',
    '',
    'Made by `npm run faults -- --keep tests/faults/results.json --out tests/faults/RESULTS.md --most N`, from what was really run: each sitting goes on from',
    'the cells kept there. Each cell is a run of its own of the hailer in `tests/simulator/set`',
    'through real processes (command, controller, recorder, virtual bench) and real lines, pseudo-terminal and TCP in turn, ten bench seconds a second.',
    'It says what ended the run, the real seconds from what was done to the HT output being off at the bench (absent where HT was off',
    'already or stayed on), what became of the outputs, the exit code of the command, by which line, and which program it was. In each the bias stood until HT',
    'was below 60 V, unless the fault took it; what was said to be confirmed off was off; the record opened, replayed to the same decisions, and lacked no more than',
    'a second of readings; the exit code was the one that the outcome asks for (`tests/matrix/exit.ts`; 137 is a command that SIGKILL ended). A cell without an exit',
    'code was run before that was judged, and is done again. In "make-safe" a person had stopped the run before, and that reason stays. The machine was busy with',
    'other work meanwhile: times are no promise; where "the machine was late" stands, the run ended for that and not for what was tried, three times over. The right-hand column names where the same is held in detail. An empty cell was not run, or its run ended before its moment came.',
    '',
    `**${tried.length} of ${kinds.length * moments.length} cells run, ${held.length} as they must be, ${held.filter(isWhole).length} of them by their exit code too** (program at ${versions(tried)}). HT was off ${median} s after it was done in the middle of them, ${longest} s at most.`,
    '',
    `| what was done | ${moments.join(' | ')} | in detail |`,
    `|${' --- |'.repeat(moments.length + 2)}`,
  ]
}

function killed(kills: readonly Killed[]): readonly string[] {
  const held = kills.filter(({ wrong }) => wrong.length === 0).length
  const by = new Map<string, Killed[]>()
  for (const one of kills) {
    const whom = one.whom.join(' + ')
    by.set(whom, [...(by.get(whom) ?? []), one])
  }
  const rows = [...by].toSorted().map(([whom, list]) => {
    const ends = [...new Set(list.map(({ how }) => how))].toSorted()
    const told = ends.map((how) => `${list.filter((one) => one.how === how).length}× ${how}`)
    const wrong = list.flatMap(({ n, wrong }) =>
      wrong.length === 0 ? [] : [`kill ${n}: ${wrong.join('; ')}`],
    )
    return `| ${whom} | ${list.length} | ${told.join(', ')} | ${wrong.join('; ')} |`
  })
  return [
    ofKills,
    '',
    'Made by `npm run faults -- --kills N --keep FILE --out tests/faults/RESULTS.md`. SIGKILL at some moment of a run, from its cautions to its end, to one or several of its',
    'processes. After each the outputs were off (by who was left, or at the next start, which found and told what was on), the run file',
    'opened, every intent that was acknowledged to the controller stood in it, and `show` told it.',
    '',
    `**${kills.length} kills, ${held} as they must be** (program at ${versions(kills)}; ${kills.reduce((sum, { events }) => sum + events, 0)} events and ${kills.reduce((sum, { readings }) => sum + readings, 0)} readings read back).`,
    '',
    '| killed | times | how it ended | not as it must be |',
    '| --- | --- | --- | --- |',
    ...rows,
  ]
}

function versions(list: readonly { readonly version: string }[]): string {
  return [...new Set(list.map(({ version }) => version))].toSorted().join(', ') || '–'
}
