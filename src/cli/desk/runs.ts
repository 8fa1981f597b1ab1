import { mkdtempSync, statSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { realPath, runsUnderWay } from '../../controller/index.js'
import {
  addNote,
  bandsOf,
  compareRuns,
  exportRun,
  findRun,
  listRuns,
  lookAt,
  openRunFile,
  RecordTrouble,
  runNameOf,
  type RunReader,
  storyOf,
  unlistedIn,
} from '../../record/index.js'
import { type DeskQuestions, Refused } from '../../service/index.js'
import { besideLines, closingText, interruptedLines } from '../../session/index.js'
import { diagnosisIn } from '../commands/diagnose.js'
import { inForceIn, replayOf } from '../commands/replay.js'
import { isWanted } from '../commands/runs.js'
import { nameAmong } from '../commands/trend.js'
import { reportPage } from '../report/page.js'
import { setTrend } from '../set-trend.js'
import { sealAlarm, sealLine } from '../story-text.js'
import { pathIn, refusedAs, textsOf, type Where } from './place.js'

type RunsDesk = Pick<
  DeskQuestions,
  | ('runs' | 'run' | 'seal' | 'runPlan' | 'traces' | 'inForce' | 'addNote' | 'report' | 'export')
  | ('replay' | 'diagnosis' | 'compare' | 'trend')
>

/** A longer one takes more than some seconds to be fed again: 40 µs an entry. */
const soon_bytes = 2_000_000

export function runsDesk(where: Where): RunsDesk {
  const { runs: folder, elsewhere, env } = where
  const open = lastOpened()
  const withRun = <T>(run: string, work: (reader: RunReader) => T): T => open(pathOf(where, run), work)
  return {
    runs: (wish) => {
      const alive = runsUnderWay(env)
      const found = listRuns(folder)
        .map((line) => ({
          ...line,
          under_way: line.outcome === 'interrupted' && alive.has(realPath(line.file)),
        }))
        .filter((line) => isWanted(line, wish))
      const bytes = found.reduce((sum, line) => sum + line.bytes, 0)
      return { folder, bytes, runs: found, elsewhere: [...elsewhere], unlisted: unlistedIn(folder) }
    },
    run: ({ run }) =>
      withRun(run, (reader) => {
        const story = storyOf(reader, { seal: false })
        const supervisor = runsUnderWay(env).get(realPath(reader.path)) ?? null
        const under_way = story.outcome === 'interrupted' && supervisor !== null
        const ending = reader.ending()?.ending ?? null
        const closing =
          ending === null
            ? interruptedLines(story, supervisor)
            : closingText(ending, null, story.lines, story.known?.command ?? 'run').split('\n')
        const bands = bandsOf(reader).map(({ from_us, to_us, ...band }) => ({
          ...band,
          from_s: from_us / 1e6,
          to_s: to_us / 1e6,
        }))
        return { ...story, under_way, closing: [...closing, ...besideLines(story)], bands }
      }),
    seal: ({ run }) =>
      withRun(run, (reader) => {
        const seal = reader.seal()
        const outcome = reader.ending()?.ending.outcome ?? 'interrupted'
        const finding = sealAlarm({ seal, outcome }, runsUnderWay(env).has(realPath(reader.path))) !== null
        return { is: seal.is, text: sealLine({ seal, outcome }), finding }
      }),
    runPlan: ({ run }) =>
      withRun(run, (reader) => {
        const known = reader.known()
        if (known === null)
          throw new Refused(503, 'record not available', 'This record does not say which plan was run.', {
            where: run,
          })
        return known.plan
      }),
    traces: ({ run, width, from_s, to_s, streams: wanted, unit: only }) =>
      withRun(run, (reader) => {
        const span = reader.span()
        const from_us = from_s === undefined ? (span?.from_us ?? 0) : Math.round(from_s * 1e6)
        const to_us = to_s === undefined ? (span?.to_us ?? 0) : Math.round(to_s * 1e6)
        if (to_us < from_us)
          throw new Refused(400, 'bad request', 'The window ends before it begins.', {
            remedy: 'Give the earlier moment as from_s.',
          })
        const ids = wanted === undefined ? null : new Set(wanted.split(',').map(Number))
        const streams = reader
          .streams()
          .filter(
            ({ id, rail, unit }) =>
              (ids?.has(id) ?? true) && (only === undefined || (rail !== null && unit === only)),
          )
        return {
          run,
          from_s: from_us / 1e6,
          to_s: to_us / 1e6,
          span_s: span === null ? null : [span.from_us / 1e6, span.to_us / 1e6],
          width,
          streams: streams.map(({ id, name, unit, rail, resolution }) => {
            const stream = { id, name, unit, rail, resolution }
            const seen = lookAt(reader, { trace: id, from_us, to_us, width })
            if (seen === null) throw new Refused(400, 'bad request', 'There is no such window.')
            if (seen.is === 'readings')
              return {
                ...stream,
                is: 'readings' as const,
                t_s: Array.from(seen.t_us, (t) => t / 1e6),
                value: Array.from(seen.value),
              }
            const { column, n, first, last, min, max } = seen
            return {
              ...{ ...stream, is: 'columns' as const, column: Array.from(column), n: Array.from(n) },
              ...{ first: Array.from(first), last: Array.from(last) },
              ...{ min: Array.from(min), max: Array.from(max) },
            }
          }),
          damage: [...reader.damage()],
        }
      }),
    inForce: ({ run, however_long }) =>
      withRun(run, (reader) => {
        const { size } = statSync(reader.path)
        if (however_long === 'no' && size > soon_bytes) return { run, rails: null, gap: null }
        const { rails, gap } = inForceIn(reader)
        return {
          run,
          rails: Object.entries(rails).map(([rail, held]) => ({
            rail,
            t_s: held.map(({ t_us }) => t_us / 1e6),
            trip_A: held.map(({ limits }) => limits?.trip_A ?? null),
            ceiling_A: held.map(({ limits }) => limits?.ceiling_A ?? null),
            expected_A: held.map(({ limits }) => limits?.band?.expected_A ?? null),
            lower_A: held.map(({ limits }) => limits?.band?.lower_A ?? null),
            upper_A: held.map(({ limits }) => limits?.band?.upper_A ?? null),
          })),
          gap,
        }
      }),
    addNote: ({ run, text, by }) => {
      const path = pathOf(where, run)
      const note = { written: new Date().toISOString(), by, text }
      const trouble = addNote(path, note, runsUnderWay(env).has(realPath(path)))
      if (trouble !== null) throw new Refused(409, 'record not available', trouble, { where: run })
      return { run, ...note }
    },
    report: ({ run }) =>
      withRun(run, (reader) => ({
        html: reportPage(reader, storyOf(reader)),
        name: `${runNameOf(reader.path)}.html`,
      })),
    export: ({ run, format }) =>
      withRun(run, (reader) => {
        const name = runNameOf(reader.path)
        const file = join(mkdtempSync(join(tmpdir(), 'slowglow-export-')), `${name}.${format}`)
        const { damage } = exportRun(reader, format, file)
        // A file that is taken away has no other place to say so.
        return { file, name: `${name}${damage.length === 0 ? '' : '-NOT-WHOLE'}.${format}` }
      }),
    replay: ({ run, profile, bench }) => {
      for (const path of [profile, bench]) if (path !== undefined) pathIn(where, path)
      return withRun(run, (reader) => {
        const options = { ...(profile !== undefined && { profile }), ...(bench !== undefined && { bench }) }
        const found = replayOf(reader, options, { cwd: where.folder, env }, textsOf(where))
        if ('exit' in found) throw refusedAs(found)
        return { ...found.document, text: found.text }
      })
    },
    diagnosis: ({ run, readings, fails, priors }) =>
      withRun(run, (reader) => {
        const found = diagnosisIn(reader, run, readings, { cwd: where.folder, fails, priors })
        if ('exit' in found) throw refusedAs(found)
        return { run: found.run, equipment: found.equipment, ...found.diagnosis }
      }),
    compare: ({ a, b }) =>
      // One after the other: the one that is opened takes the place of the one before.
      compareRuns(
        withRun(a, (reader) => storyOf(reader)),
        withRun(b, (reader) => storyOf(reader)),
      ),
    trend: ({ set, rehearsals }) => {
      const name = nameAmong(folder, set)
      if (name === null)
        throw new Refused(
          404,
          'not found',
          `${set} is not the name of one set among the runs in ${folder}.`,
          {
            remedy: 'The list of runs has the names.',
            where: set,
          },
        )
      const found = setTrend(folder, name, rehearsals, { equipmentPath: null, cwd: where.folder })
      return { ...found, elsewhere: [...elsewhere] }
    },
  }
}

/** By its whole name among the runs that are kept, here or elsewhere; never by a path. */
function pathOf({ runs, elsewhere }: Where, run: string): string {
  for (const folder of [runs, ...elsewhere]) {
    const found = findRun(run, folder, folder)
    if ('path' in found && runNameOf(found.path) === run) return found.path
  }
  throw new Refused(404, 'not found', `There is no run ${run}.`, {
    remedy: 'The list of runs has their names.',
    where: run,
  })
}

/**
 * Opens a run and works with it. A run that has ended stays open until another is asked for: one that is looked at is looked at
 * again and again, and opening a long one costs more than a look.
 */
function lastOpened(): <T>(path: string, work: (reader: RunReader) => T) => T {
  let last: { readonly path: string; readonly stamp: string; readonly reader: RunReader } | null = null
  const stampOf = (path: string): string => {
    const stat = statSync(path, { throwIfNoEntry: false })
    return stat === undefined ? '' : `${stat.ino} ${stat.size} ${stat.mtimeMs}`
  }
  const opened = (path: string): RunReader => {
    const stamp = stampOf(path)
    if (last !== null && last.path === path && last.stamp === stamp) return last.reader
    last?.reader.close()
    last = null
    const found = openRunFile(path)
    if ('trouble' in found) throw new Refused(503, 'record not available', found.trouble, { where: path })
    last = { path, stamp, reader: found.reader }
    return found.reader
  }
  return (path, work) => {
    const reader = opened(path)
    let ended = false
    try {
      ended = reader.ending() !== null
      return work(reader)
    } catch (error) {
      ended = false
      if (!(error instanceof RecordTrouble)) throw error
      throw new Refused(503, 'record not available', error.message, { where: path })
    } finally {
      if (!ended) {
        reader.close()
        last = null
      }
    }
  }
}
