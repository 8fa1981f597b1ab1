import { relative } from 'node:path'
import { cautionsFor } from '../../cautions/index.js'
import { benchStatePath, readBenchState, stillRuns } from '../../controller/index.js'
import { healthInWords } from '../../exchange/index.js'
import { loadBench } from '../../files/index.js'
import type { Plan } from '../../plan/index.js'
import { type DeskQuestions, type PlanDocument, type Planned, Refused } from '../../service/index.js'
import { hookedUpAsIn, planAtSpeed } from '../../session/index.js'
import { planJson } from '../commands/plan.js'
import { suppliesTold, wantedOf } from '../commands/supplies.js'
import { continuable, takenUp } from '../live/earlier.js'
import { prepared } from '../live/prepare.js'
import { hashed, notPlanned, planFiles } from '../plan-files.js'
import { coursesOf } from '../plan-plot/points.js'
import { placed, type PlanProblem } from '../problems.js'
import { startCautions } from '../unseen-cautions.js'
import { versionOf } from '../version.js'
import { pathIn, problemOf, refusedAs, textsOf, type Where } from './place.js'

type PlansDesk = Pick<DeskQuestions, 'plan' | 'supplies' | 'prepare' | 'hookedUpAsIn'>

export function plansDesk(where: Where): PlansDesk {
  const { folder, env } = where
  const texts = (unwritten?: Readonly<Record<string, string>>) => textsOf(where, unwritten)
  /** A file outside is refused before it is looked for, also where an unwritten text stands in for it. */
  const inside = (
    paths: readonly (string | undefined)[],
    unwritten: Readonly<Record<string, string>> = {},
  ): void => {
    for (const path of paths) if (path !== undefined && !(path in unwritten)) pathIn(where, path)
  }
  return {
    plan: ({ profile, bench, texts: unwritten, parts: wanted }) => {
      inside([profile, bench], unwritten)
      const planned = planFiles(profile, bench, folder, env, texts(unwritten), {
        unattended: false,
        runs: [where.runs, ...where.elsewhere],
      })
      const refusal = notPlanned(planned, 'plan', profile)
      if (refusal !== null) throw refusedAs(refusal)
      const { plan, parts, problems, files } = planned
      if (plan === null || parts === null) throw new Error('A plan without an error has its parts.')
      return {
        plan: documentOf(plan, problems),
        courses: coursesOf(plan).map(({ points, ...course }) => ({ ...course, points: [...points] })),
        files: { ...files },
        bench: relative(folder, parts.bench_path),
        unfinished: unfinishedOf(plan, parts.lifted !== null, where),
        cautions: cautionsFor(plan.figures, plan),
        parts: wanted
          ? { profile: parts.profile, equipment: parts.equipment, bench: parts.bench, behind: parts.behind }
          : null,
      }
    },
    supplies: async ({ bench: path }) => {
      const file = pathIn(where, path)
      const { value, problems } = loadBench(file, texts())
      if (value === null)
        throw new Refused(422, 'findings', 'Without the bench file no port is known.', {
          remedy: 'Mend what is named in it.',
          where: path,
          problems: placed(problems, folder).map(problemOf),
        })
      const left = readBenchState(benchStatePath(file, env))
      if (left !== null && left !== 'unreadable' && stillRuns(left.supervisor))
        throw new Refused(409, 'busy', `A run is under way on this bench (${left.run_file}).`, {
          remedy: 'Its own figures are shown with it; ask the supplies when it has ended.',
          where: path,
        })
      const told = await suppliesTold(file, value, env)
      return {
        bench: value.name,
        supplies: Object.fromEntries(
          Object.entries(told).map(([name, { trouble, identity, channels, inputs, line }]) => [
            name,
            {
              trouble,
              identity,
              expects: wantedOf(value, name),
              channels: Object.fromEntries(
                Object.entries(channels).map(([channel, of]) => [
                  channel,
                  { ...of, fired: [...of.fired], guards_off: [...of.guards_off] },
                ]),
              ),
              inputs: { ...inputs },
              line: healthInWords(line),
            },
          ]),
        ),
      }
    },
    prepare: ({ profile, bench, faults, speed, continues, plan: read }) => {
      inside([profile, bench])
      const flags = { fault: faults, speed, runs: where.runs, ...(bench !== undefined && { bench }) }
      const fresh = prepared('run', profile, flags, { cwd: folder, env }, texts())
      if ('exit' in fresh) throw refusedAs(fresh)
      const { problems } = fresh
      if (read !== undefined && read !== fresh.plan.hash)
        throw new Refused(
          409,
          'changed meanwhile',
          'What this plan was made from has changed since you read it.',
          {
            remedy:
              'A file, a cold reading or a measured figure is another one now: read the plan again, then start.',
            where: profile,
          },
        )
      const made = continues
        ? takenUp(fresh, continuable([where.runs, ...where.elsewhere], fresh.plan))
        : fresh
      if ('exit' in made) throw refusedAs(made)
      const { equipment, bench: on, bench_path, files, lifted } = made
      const plan = hashed(planAtSpeed(made.plan, speed))
      return {
        ready: {
          plan: made.plan,
          equipment,
          bench: on,
          bench_path,
          files,
          faults: made.faults.map(({ text }) => ({ text })),
          ...(made.set_path !== undefined && { set_path: made.set_path }),
        },
        plan,
        cautions: startCautions({ plan, files, equipment, bench: on, lifted: lifted !== null }),
        document: documentOf(plan, problems),
        state_path: benchStatePath(bench_path, env),
        folder: where.runs,
        version: versionOf(),
        lifted: lifted === null ? null : { profile_path: lifted.profile_path, whole: lifted.whole },
      }
    },
    hookedUpAsIn: ({ plan }) => ({ run: hookedUpAsIn([where.runs, ...where.elsewhere], plan) }),
  }
}

/** As `slowglow plan --json` prints it; `planJson` adds to every step the figures of its own rail. */
function documentOf(plan: Plan, problems: readonly PlanProblem[]): PlanDocument {
  return planJson(plan, problems) as unknown as PlanDocument
}

function unfinishedOf(plan: Plan, lifted: boolean, { runs, elsewhere }: Where): Planned['unfinished'] {
  const found = lifted ? continuable([runs, ...elsewhere], plan) : null
  if (found === null) return null
  const { run, text, offer, earlier, why_not } = found
  return {
    ...{ run, text, offer: earlier === null ? null : offer },
    why_not: why_not === null ? null : `${why_not.what} ${why_not.remedy}`,
  }
}
