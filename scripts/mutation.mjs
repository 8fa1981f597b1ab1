// npm run mutation [-- FILES AND FOLDERS] [--part K] [--minutes N] [--again] [--lived]: small changes are put into the program one after another, and the tests
// must notice each. What is not done yet is done, some files at a time; the result is written after each lot into tests/mutation/results.json,
// which goes with the source: stopped, it goes on from there, on whatever machine. From that file RESULTS.md beside it is made (a row a file),
// and SURVIVORS.md (what no test noticed). A file is due again when it has changed, behind those when the tests of its room have, and with
// --again. With --lived only what no test noticed before is tried again: right where tests have only been added. With --part K one change in K is tried, drawn by a hash: all of them cost some twenty hours of a core. Without names the four rooms are done, the way of a trip first.
import { execFileSync, spawnSync } from 'node:child_process'
import { existsSync, mkdirSync, readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { hashOf, isDrawn, testsOf } from '../tests/mutation/rooms.mjs'
import { toldOf, unreached } from '../tests/mutation/told.mjs'
import { refused } from '../tests/mutation/types.mjs'
import { because } from '../tests/mutation/words.mjs'

const rooms = [
  'src/sequencer/first-look.ts',
  'src/sequencer/in-force.ts',
  'src/sequencer/judge.ts',
  'src/sequencer/breach.ts',
  'src/sequencer/off.ts',
  'src/line/first-look.ts',
  'src/line/judge.ts',
  'src/line/urgent.ts',
  'src/off',
  'src/loop',
  'src/sequencer',
  'src/line',
  'src/controller/supervise.ts',
  'src/controller/safe-off.ts',
  'src/controller/off-at-once.ts',
  'src/limits',
]
const done_file = resolve('.stryker/done.jsonl')
const data = 'tests/mutation/results.json'
const results = 'tests/mutation/RESULTS.md'
const survivors = 'tests/mutation/SURVIVORS.md'
const args = process.argv.slice(2)
const part_at = args.indexOf('--part')
const part = part_at < 0 ? 1 : Number(args.splice(part_at, 2)[1])
/** Lines of source in one lot: some minutes, and as long again until it begins. */
const lot_lines = Number(process.env.SLOWGLOW_LOT_LINES ?? 400 * part)
const at = args.indexOf('--minutes')
const minutes = at < 0 ? Infinity : Number(args.splice(at, 2)[1])
const again = args.includes('--again')
const lived_only = args.includes('--lived')
const named = args.filter((arg) => arg !== '--again' && arg !== '--lived')

const git = (...words) => execFileSync('git', words, { encoding: 'utf8' }).trim()
/** The commit that last changed the program or its tests. */
const program = `${git('log', '-1', '--format=%h', '--', 'src', 'tests')}${git('status', '--porcelain', '--', 'src', 'tests/unit', 'tests/properties') === '' ? '' : '-changed'}`
const day = new Date().toISOString().slice(0, 10)
const read = (path) => (existsSync(path) ? readFileSync(path, 'utf8') : '')
const lines = (path) => read(path).split('\n').length
const hash = (path) => hashOf([path])
/** Of the tests that a file's mutants are tried against, by room, and what they stand on. */
const helpers = readdirSync('tests/helpers')
  .filter((name) => name.endsWith('.ts'))
  .map((name) => `tests/helpers/${name}`)
const tests_of = new Map()
const tests = (file) => {
  const room = roomOf(file)
  if (!tests_of.has(room)) tests_of.set(room, hashOf([...testsOf(room), ...helpers]))
  return tests_of.get(room)
}
/** Only types, or only names passed on: nothing that could be changed. */
const hasCode = (path) => /\bfunction\b|=>|\b(const|let) /.test(read(path))

const files = [...new Set((named.length > 0 ? named : rooms).flatMap(filesIn))].filter(hasCode)
const rows = new Map(Object.entries(JSON.parse(read(data) || '{}')))
const why = reasonsIn(read(survivors))
const isWhole = (file) =>
  rows.get(file)?.whole === true && rows.get(file).source === hash(file) && (rows.get(file).part ?? 1) <= part
const isAsTested = (file) => isWhole(file) && rows.get(file).tests === tests(file)
const left = [
  ...files.filter((file) => again || !isWhole(file)),
  ...files.filter((file) => !again && isWhole(file) && !isAsTested(file)),
]
process.stderr.write(`${files.length} files, ${left.length} to do\n`)

mkdirSync('.stryker', { recursive: true })
const began = Date.now()
while (left.length > 0 && Date.now() - began < 60_000 * minutes) {
  const lot = [left.shift()]
  while (
    left.length > 0 &&
    roomOf(left[0]) === roomOf(lot[0]) &&
    [...lot, left[0]].reduce((sum, file) => sum + lines(file), 0) <= lot_lines
  )
    lot.push(left.shift())
  if (again) forget(lot)
  const sources = lot.map((file) => `${file}=${hash(file)}`).join(',')
  const time_ms = 60_000 * minutes - (Date.now() - began)
  const { status, error } = spawnSync(
    'node_modules/.bin/stryker',
    ['run', 'stryker.conf.mjs', '--mutate', lot.join(',')],
    {
      stdio: ['ignore', 2, 2],
      ...(time_ms < Infinity && { timeout: Math.max(1000, time_ms) }),
      env: {
        ...process.env,
        ROOM: roomOf(lot[0]),
        SLOWGLOW_MUTATION_KEPT: resolve('.stryker/times.json'),
        SLOWGLOW_MUTATION_DONE: done_file,
        SLOWGLOW_MUTATION_SOURCES: sources,
        SLOWGLOW_MUTATION_PART: part,
        ...(lived_only && {
          SLOWGLOW_MUTATION_LIVED: JSON.stringify(livedIn(lot)),
          SLOWGLOW_MUTATION_FROM: process.cwd(),
        }),
      },
    },
  )
  const ran = status === 0
  if (!ran && error === undefined) {
    process.exitCode = 1
    break
  }
  const report = ran ? JSON.parse(read('.stryker/report.json')) : { files: {} }
  for (const file of lot) {
    const all = report.files[file]?.mutants
    // A lot that was stopped has not come by all that was noticed before.
    if (all === undefined && lived_only && isWhole(file)) continue
    const mutants = all === undefined ? triedOf(file) : part === 1 ? all : drawnOf(file, all)
    if (mutants.length > 0) rows.set(file, rowOf(file, mutants, ran))
  }
  tell()
}
tell()
if (left.length > 0) process.stderr.write(`not begun: ${left.join(', ')}\n`)

/** What no test noticed before, of files that have been tried whole as they are. */
function livedIn(lot) {
  return Object.fromEntries(
    lot
      .filter((file) => isWhole(file))
      .map((file) => [file, rows.get(file).lived.map(({ text }) => text.replace(unreached, ''))]),
  )
}

/** Whose tests are tried (stryker.conf.mjs). */
function roomOf(file) {
  return file.split('/')[1]
}

function tell() {
  const sorted = [...rows].toSorted(([a], [b]) => a.localeCompare(b))
  const each = sorted.map(([file, row]) => `${JSON.stringify(file)}: ${JSON.stringify(row)}`)
  writeFileSync(data, `{\n${each.join(',\n')}\n}\n`)
  writeFileSync(results, resultsText())
  writeFileSync(survivors, survivorsText())
}

function filesIn(path) {
  if (!statSync(path).isDirectory()) return [path]
  return readdirSync(path)
    .filter((name) => name.endsWith('.ts'))
    .map((name) => join(path, name))
}

/** What was tried of a file whose run was stopped: what was said of a mutant last. */
function triedOf(file) {
  const states = { killed: 'Killed', timeout: 'Timeout', survived: 'Survived' }
  const last = new Map()
  for (const { file: its, source, at, mutatorName, replacement, result } of tried_before()) {
    if (its !== file || source !== hash(file) || !(result.status in states)) continue
    const [line, column, to, end] = at
    last.set(JSON.stringify([at, mutatorName, replacement]), {
      status: states[result.status],
      // The report counts from one.
      location: { start: { line: line + 1, column: column + 1 }, end: { line: to + 1, column: end + 1 } },
      mutatorName,
      replacement,
    })
  }
  return [...last.values()]
}
/** Of all changes in a file those that were drawn, and those that none was to be drawn from. */
function drawnOf(file, all) {
  const isTried = ({ location: { start, end }, mutatorName, replacement }) =>
    isDrawn(
      {
        file,
        at: [start.line - 1, start.column - 1, end.line - 1, end.column - 1],
        mutatorName,
        replacement,
      },
      part,
    )
  return all.filter((mutant) => mutant.status === 'Ignored' || isTried(mutant))
}
function tried_before() {
  return read(done_file)
    .split('\n')
    .flatMap((line) => (line === '' ? [] : [JSON.parse(line)]))
}
function forget(lot) {
  const kept = tried_before().filter(({ file }) => !lot.includes(file))
  writeFileSync(done_file, kept.map((one) => `${JSON.stringify(one)}\n`).join(''))
}

/** What came of one file, and what survived in it. */
function rowOf(file, all, whole) {
  const source = read(file)
  const none = refused(
    file,
    all.filter(({ status }) => status !== 'Ignored'),
  )
  const mutants = all.filter((mutant) => !none.has(mutant))
  const of = (...states) => mutants.filter(({ status }) => states.includes(status)).length
  const words = mutants.filter(
    ({ status, statusReason }) => status === 'Ignored' && statusReason === because,
  ).length
  const lived = mutants
    .filter(({ status }) => status === 'Survived' || status === 'NoCoverage')
    .map(({ location, mutatorName, replacement, status }) => ({
      line: location.start.line,
      text: `${toldOf(source, location, mutatorName, replacement)}${status === 'NoCoverage' ? unreached : ''}`,
    }))
  return {
    killed: of('Killed', 'Timeout'),
    survived: of('Survived'),
    unreached: of('NoCoverage'),
    refused: none.size,
    at_load: of('Ignored') - words,
    words,
    program,
    day,
    whole,
    part,
    source: hash(file),
    tests: tests(file),
    lived,
  }
}

function tried({ killed, survived, unreached }) {
  return killed + survived + unreached
}
function score(row) {
  return tried(row) === 0 ? '–' : `${((100 * row.killed) / tried(row)).toFixed(1)} %`
}
function resultsText() {
  const all = [...rows].toSorted(([a], [b]) => a.localeCompare(b))
  const line = (name, row, when) =>
    `| ${name} | ${tried(row)} | ${row.killed} | ${row.survived} | ${row.unreached} | ${row.refused ?? 0} | ${row.at_load} | ${row.words} | ${score(row)} | ${when} |`
  const sum = (list) =>
    list.reduce(
      (total, [, row]) => ({
        killed: total.killed + row.killed,
        survived: total.survived + row.survived,
        unreached: total.unreached + row.unreached,
        refused: total.refused + (row.refused ?? 0),
        at_load: total.at_load + row.at_load,
        words: total.words + row.words,
      }),
      { killed: 0, survived: 0, unreached: 0, refused: 0, at_load: 0, words: 0 },
    )
  const folders = [...new Set(all.map(([file]) => file.split('/').slice(0, 2).join('/')))]
  const undone = [...new Set(rooms.flatMap(filesIn))].filter((file) => hasCode(file) && !rows.has(file))
  const parts = all.filter(([, { whole }]) => !whole)
  const stale = all.filter(
    ([file, { whole, source }]) => whole && (!existsSync(file) || hash(file) !== source),
  )
  const other = all.filter(([file]) => isWhole(file) && !isAsTested(file))
  return [
    '# Would the tests notice?',
    '',
    'Written by `npm run mutation`, from what was really run: small changes (Stryker) put into a file one after another, and whether a test that runs in one process',
    'fails for it. A change that fails no test within so many seconds of the processor (`SLOWGLOW_MUTANT_S`, 8; whole rooms were done with 0.4 to 1.5) counts as surviving, the',
    'quickest tests and those that noticed something near by going first; a test that takes longer than 3 s (`SLOWGLOW_TEST_S`; 0.3 to 1) is not asked. So a score is what was shown, and no less. What was noticed was confirmed: the same test passes again',
    'without the change. Changes in what is computed once, at load (tables, constants), are not tried and not in the score: "at load"; nor are',
    'texts of four words and more, with what is put into them ("words": `tests/mutation/words.mjs`): they are for a person. Nor are changes that the compiler refuses',
    '("refused": `tests/mutation/types.mjs`), whether noticed or not: with them there is no program. The goal is 90 %.',
    'What survived stands in [SURVIVORS.md](SURVIVORS.md). All changes cost some twenty hours of a core; where "one in" is not 1, so many are drawn by a hash of',
    'what they are, and a score stands for all within some twice the root of (score × (1 - score) / tried).',
    '',
    '| file | tried | noticed | survived | no test comes by | refused | at load | words | score | one in | program, day, source, tests |',
    '| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |',
    ...all.map(([file, row]) =>
      line(`\`${file}\``, row, `${row.part ?? 1} | ${row.program}, ${row.day}, ${row.source}, ${row.tests}`),
    ),
    '',
    '| room | tried | noticed | survived | no test comes by | refused | at load | words | score | files |',
    '| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |',
    ...folders.map((folder) => {
      const of = all.filter(([file]) => file.startsWith(`${folder}/`))
      const more = undone.filter((file) => file.startsWith(`${folder}/`)).length
      return line(folder, sum(of), `${of.length} of ${of.length + more}`)
    }),
    '',
    `**Not run yet: ${undone.length === 0 ? 'nothing' : `${undone.length} files, ${undone.reduce((all, file) => all + lines(file), 0)} lines`}.**`,
    ...(undone.length === 0 ? [] : [undone.map((file) => `\`${file}\``).join(', ')]),
    ...(parts.length === 0
      ? []
      : ['', `In part only, for the run was stopped: ${parts.map(([file]) => `\`${file}\``).join(', ')}.`]),
    ...(stale.length === 0 ? [] : ['', `Changed since: ${stale.map(([file]) => `\`${file}\``).join(', ')}.`]),
    ...(other.length === 0
      ? []
      : ['', `Tests of their room have changed since: ${other.map(([file]) => `\`${file}\``).join(', ')}.`]),
    '',
  ].join('\n')
}

/** What was written behind a survivor by hand stays with it: ` — ` and the reason. */
function reasonsIn(text) {
  const found = new Map()
  for (const section of text.split('\n## ').slice(1)) {
    const file = section.slice(0, section.indexOf('\n')).trim()
    for (const line of section.split('\n')) {
      // Whether a test comes by is no part of what a change is.
      const [key, reason] = line
        .replace(/^- \d+: /, '')
        .replace(unreached, '')
        .split(' — ')
      if (reason !== undefined) found.set(`${file} ${key}`, reason)
    }
  }
  return found
}

function survivorsText() {
  const sections = [...rows]
    .toSorted(([a], [b]) => a.localeCompare(b))
    .flatMap(([file, { lived }]) => {
      if (lived.length === 0) return []
      const told = lived.map(({ line, text }) => {
        const reason = why.get(`${file} ${text.replace(unreached, '')}`)
        return `- ${line}: ${text}${reason === undefined ? '' : ` — ${reason}`}`
      })
      return [`## ${file}\n\n${told.join('\n')}`]
    })
  const head = [
    '# What no test noticed',
    '',
    'Written by `npm run mutation`; each line is a change that failed no test: line, where, what was there → what was put there. What stands behind a dash was written by',
    'hand and stays: why the change makes no difference that matters. One without a reason was not looked at yet.',
  ].join('\n')
  return `${[head, ...sections].join('\n\n')}\n`
}
