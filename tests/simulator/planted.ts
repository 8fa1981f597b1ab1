import { cpSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { join, resolve } from 'node:path'
import { pathToFileURL } from 'node:url'
import ts from 'typescript'
import { version } from '../helpers/version.js'
import type { loadParts } from './parts.js'
import type { simulate } from './simulation.js'

/** A mistake put into a copy of the program: text of one source file that becomes another. */
export interface Planted {
  readonly name: string
  /** Below `src`. */
  readonly file: string
  readonly find: string
  readonly put: string
}

/** Mistakes that a run must not get away with, each of the kind that has been made in such programs before. */
export const planted: readonly Planted[] = [
  {
    name: 'the bias goes off with HT, not after it',
    file: 'off/rules.ts',
    find: 'if (d.s.bias_released_by !== null || list.length === 0 || d.s.heaters_off_us === null) return\n  const rule = biasRule(d, plan, list)',
    put: "if (d.s.bias_released_by !== null || list.length === 0) return\n  const rule = biasRule(d, plan, list) ?? 'at once'",
  },
  {
    name: 'the bias goes by time though HT does not fall',
    file: 'off/rules.ts',
    find: 'if (!hot.every(down)) return null',
    put: "if (!hot.every(down) && d.s.heaters_off_us !== null) return 'by time'",
  },
  {
    name: 'a trip is not latched: the run goes on when the reading is good again',
    file: 'sequencer/sequencer.ts',
    find: '  d.s.tick_us = d.s.t_us\n',
    put: "  d.s.tick_us = d.s.t_us\n  if (d.s.phase === 'making off') {\n    d.s.phase = 'running'\n    d.s.off = null\n  }\n",
  },
  {
    name: 'OFF is not sent to one of the ports',
    file: 'loop/loop.ts',
    find: 'if (port === undefined) continue\n    ports.set',
    put: "if (port === undefined || port === 'high') continue\n    ports.set",
  },
  {
    name: 'a reading may be as old as it likes',
    file: 'sequencer/judge-time.ts',
    find: 'if (!leftAlone(d.s, rail.name)) judgeFreshness(d, rail, state)',
    put: '',
  },
  {
    name: 'a raise does not wait for its intent to be in the record',
    file: 'sequencer/run.ts',
    find: 'd.s.intent = { id: intent, recorded: false }',
    put: 'd.s.intent = { id: intent, recorded: true }',
  },
  {
    name: 'off is believed as soon as the supply says so, without volts or current',
    file: 'off/confirm.ts',
    find: 'if (hasAmps(rail) && known.quiet < samples) return\n  const how = known.gone >= samples ? below(rail, known, V) : fallsAsPredicted(d, rail, known, V)',
    put: "const how = 'read back as off'",
  },
  {
    name: 'off is believed because it was told',
    file: 'off/confirm.ts',
    find: "const known = of(d.s, rail)\n  if (typeof d.s.confirmed[rail.name] === 'string') {",
    put: "const known = of(d.s, rail)\n  if (known.given_us !== null && d.s.confirmed[rail.name] === null) change(d, rail, { confirmed_us: d.s.t_us, down_us: known.down_us ?? d.s.t_us })\n  if (known.given_us !== null && typeof d.s.confirmed[rail.name] !== 'string') { d.s.confirmed = { ...d.s.confirmed, [rail.name]: 'told' }; return }\n  if (typeof d.s.confirmed[rail.name] === 'string') {",
  },
  {
    name: 'a lost recorder is ignored',
    file: 'sequencer/sequencer.ts',
    find: "    case 'recorder lost':\n",
    put: "    case 'recorder lost':\n      return\n",
  },
  {
    name: 'a lost parent is ignored',
    file: 'sequencer/sequencer.ts',
    find: "    case 'parent lost':\n",
    put: "    case 'parent lost':\n      return\n",
  },
  {
    name: 'a sleep of the computer is ignored',
    file: 'sequencer/sequencer.ts',
    find: "if (slept_us > 1e6 * tripAt(d.s, 'slept', 0.5)) {",
    put: 'if (slept_us > 1e12) {',
  },
  {
    name: 'the question of a cut-off relay is asked though it may have opened',
    file: 'line/rounds.ts',
    find: 'return relay_fed_us === null || t_us - relay_fed_us <= fedWithin * every_us',
    put: 'return true',
  },
  {
    name: 'a cut-off relay is fed before a run begins',
    file: 'loop/cut-off.ts',
    find: "mayFeed(s) && (s.phase === 'running' || (before && !slept))",
    put: "s.phase === 'waiting' || mayFeed(s)",
  },
  {
    name: 'a cut-off relay is fed on though OFF is not obeyed',
    file: 'loop/cut-off.ts',
    find: 'return relayObeyed(s) || t_us - (off?.since_us ?? t_us) < 1e6 * obeysWithin_s * (plan.pace ?? 1)',
    put: 'return true',
  },
  {
    name: 'the supervisor does not miss the heartbeat',
    file: 'controller/supervise.ts',
    find: 'if (age_us >= beat_lost_us) {',
    put: 'if (age_us >= 1e12) {',
  },
  {
    name: 'the supervisor that takes over sends no OFF and waits for nothing',
    file: 'controller/supervise.ts',
    find: "    case 'taking over':\n      return { state: entered(state, 'making safe'), acts: [{ do: 'make safe' }] }",
    put: "    case 'taking over':\n      return finish(state, { kind: 'taken over', lost: '', confirmed: true, text: '' })",
  },
  {
    name: 'the recorder confirms before it has committed',
    file: 'record/keep.ts',
    find: '    outputs: [...lost, ',
    put: "    outputs: [...lost, { do: 'send', client: id, message: { kind: 'confirmed', seq } }, ",
  },
  {
    name: 'the recorder forgets what waited when its disk fills',
    file: 'record/keep.ts',
    find: "          { do: 'divert', entries: [] },\n",
    put: '',
  },
  {
    name: 'outputs that are found on are let be',
    file: 'sequencer/sequencer.ts',
    find: "  if (d.s.phase === 'waiting' && on) foundOn(d, channel, found.rail)\n",
    put: '',
  },
  {
    name: 'a dead-man that did not fire is passed over',
    file: 'sequencer/prove.ts',
    find: 'within_s + paced_s(d.s, lookAfter_s)) {\n        silent(under, waited_s)',
    put: "within_s + paced_s(d.s, lookAfter_s)) {\n        enter(d, 'prove off')",
  },
  {
    name: 'a dead-man is put to rest once it is proved',
    file: 'line/dead-man.ts',
    find: '  const disobeyed = owed(d)\n',
    put: '  if (d.t_us > 60e6 && !d.disarmed) {\n    d.disarmed = true\n    return disarmMoves(config)\n  }\n  const disobeyed = owed(d)\n',
  },
  {
    name: 'no ceiling is judged while a rail rises, of which the first look knows nothing',
    file: 'sequencer/judge.ts',
    find: 'if (measured <= ceiling_A) return\n  const soft',
    put: "if (measured <= ceiling_A || d.s.part === 'ramp') return\n  const soft",
  },
  {
    name: 'the reply behind the OFF of a first look is not judged',
    file: 'loop/loop.ts',
    find: 'else drive(work, input.port, input.line)\n  settle(work)',
    put: 'else if (given === null) drive(work, input.port, input.line)\n  settle(work)',
  },
  {
    name: 'energising needs no cautions, and begins by itself',
    file: 'sequencer/sequencer.ts',
    find: '  d.s.tick_us = d.s.t_us\n',
    put: "  d.s.tick_us = d.s.t_us\n  if (d.s.phase === 'waiting' && d.s.t_us > 2e5) handle(d, { kind: 'begin', word: '', channel: 'rehearsal', hooked_up_as_in: null, t_us: d.s.t_us })\n",
  },
  {
    name: 'a hook-up is taken as proved without its test',
    file: 'sequencer/hookup.ts',
    find: "    default:\n      enter('hook-up least')",
    put: '    default:\n      d.s.hookup_done = [...d.s.hookup_done, test.channel]\n      done()',
  },
  {
    name: 'heaters need no time to warm',
    file: 'sequencer/interlocks.ts',
    find: 'return since !== null && s.t_us - since >= us(warmUp_s(s, watch))',
    put: 'return since !== null && s.t_us - since >= us(0.1 * warmUp_s(s, watch))',
  },
  {
    name: 'the bias comes up half way, and nothing asks for the rest',
    file: 'sequencer/state.ts',
    find: 'return s.plan.steps[s.step] ?? null\n}',
    put: "const step = s.plan.steps[s.step] ?? null\n  if (step === null) return null\n  const part = step.rail === 'bias' && step.hookup === null ? 0.6 : 1\n  return { ...step, needs_bias: false, target_V: part * step.target_V }\n}",
  },
  {
    name: 'a rise is half as fast again as its slew',
    file: 'sequencer/slew.ts',
    find: '(step.slew_V_per_s * Math.min(since_us, most_us)) / 1e6',
    put: '(1.5 * step.slew_V_per_s * Math.min(since_us, most_us)) / 1e6',
  },
  {
    name: 'a step goes a tenth beyond its own top',
    file: 'sequencer/state.ts',
    find: 'return s.plan.steps[s.step] ?? null\n}',
    put: "const step = s.plan.steps[s.step] ?? null\n  return step?.do === 'raise' ? { ...step, target_V: 1.1 * step.target_V } : step\n}",
  },
  {
    name: 'a ramp asks for more than its step, and only the door stops it',
    file: 'sequencer/slew.ts',
    find: 'return Math.min(step.target_V, state.set_V + (',
    put: 'return Math.min(1000, state.set_V + (',
  },
  {
    name: 'hands are taken as clear as soon as it is said',
    file: 'sequencer/gates.ts',
    find: 'if (d.s.t_us < d.s.hands_clear_until_us) return false\n',
    put: '',
  },
  {
    name: 'an over-voltage level is set and not read back',
    file: 'line/moves.ts',
    find: 'if (query !== null && sent !== null) {',
    put: "if (query !== null && sent !== null && which !== 'over_V') {",
  },
  {
    name: 'the limits of one segment do for the next',
    file: 'sequencer/hold.ts',
    find: '  passOver(d)\n  d.s.step_us',
    put: '  passOver(d)\n  for (const channel of Object.values(d.s.channels))\n    if (channel.limits_step !== null) channel.limits_step = currentStep(d.s)?.index ?? null\n  d.s.step_us',
  },
  {
    name: 'an over-voltage level as wide as the supply can',
    file: 'sequencer/standing.ts',
    find: '? Math.min(part.max_V, limits.over_voltage_V * part.share)',
    put: '? part.max_V',
  },
  {
    name: 'a request is said from its beginning again when a reply was lost',
    file: 'line/work.ts',
    find: "  d.link = 'ready'\n  if (d.fresh) d.work = openingWork(d)",
    put: "  d.link = 'ready'\n  if (!d.fresh && d.work?.request) d.work = { ...d.work, at: 0 }\n  if (d.fresh) d.work = openingWork(d)",
  },
  {
    name: 'heaters go off a second after HT was told to',
    file: 'off/rules.ts',
    find: 'if (!low && waited_s < plan.heaters_off_after_s) return',
    put: 'if (!low && waited_s < 1) return',
  },
]

/** How often this text stands in its file: once, or the plant is out of date. */
export function timesFound({ file, find }: Planted): number {
  return readFileSync(join('src', file), 'utf8').split(find).length - 1
}

export interface Found {
  readonly name: string
  readonly file: string
  /** Runs until the first that broke an invariant; null = none in all of them. */
  readonly after: number | null
  readonly seed: number | null
  readonly invariant: string
}

interface Program {
  readonly simulate: typeof simulate
  readonly loadParts: typeof loadParts
}

/** The whole program with this mistake in it, run with one seed after another until an invariant breaks. */
export async function hunt(plant: Planted, compiled: string, runs: number, seed: number): Promise<Found> {
  if (timesFound(plant) !== 1)
    throw new Error(`"${plant.name}": its text does not stand once in ${plant.file}`)
  // A folder of its own for each: what was imported once is not read again.
  const copy = resolve(compiled, '..', `.planted-${process.pid}-${planted.indexOf(plant)}`)
  cpSync(compiled, copy, { recursive: true })
  try {
    const source = readFileSync(join('src', plant.file), 'utf8').replace(plant.find, () => plant.put)
    const { outputText } = ts.transpileModule(source, {
      fileName: plant.file,
      compilerOptions: {
        target: ts.ScriptTarget.ES2023,
        module: ts.ModuleKind.ESNext,
        verbatimModuleSyntax: true,
      },
    })
    writeFileSync(join(copy, 'src', plant.file.replace(/\.ts$/, '.js')), outputText)
    const from = (name: string): string => pathToFileURL(join(copy, 'tests/simulator', name)).href
    const program = {
      ...((await import(from('simulation.js'))) as object),
      ...((await import(from('parts.js'))) as object),
    } as Program
    const parts = program.loadParts()
    for (let i = 0; i < runs; i++) {
      const run = program.simulate(parts, seed * 1_000_003 + i, new Set(), false)
      const [first] = run.broken
      if (first !== undefined)
        return {
          name: plant.name,
          file: plant.file,
          after: i + 1,
          seed: run.seed,
          invariant: first.invariant,
        }
    }
    return { name: plant.name, file: plant.file, after: null, seed: null, invariant: '' }
  } finally {
    rmSync(copy, { recursive: true, force: true })
  }
}

/** For people, from what was found; what was not tried now stands as it stood in the table `before`. */
export function plantedTable(found: readonly Found[], runs: number, seed: number, before = ''): string {
  const told = before.split('\n')
  const rows = planted.flatMap(({ name }) => {
    const one = found.find((each) => each.name === name)
    if (one === undefined) return told.filter((line) => line.startsWith(`| ${name} |`))
    const { file, after, invariant } = one
    return [
      `| ${name} | \`src/${file}\` | ${after === null ? `not in ${runs}` : after} | ${invariant} | ${version} |`,
    ]
  })
  return [
    '# Mistakes planted on purpose, and how many simulated runs it took to see them',
    '',
    `Made by \`npm run simulate -- --planted tests/simulator/PLANTED.md --runs ${runs} --seed ${seed}\`, some of them anew with \`--only WORDS\`: each row names its program. Each mistake is put into a copy of the program`,
    '(what becomes what stands in `tests/simulator/planted.ts`), which is then simulated with one seed after another until an invariant',
    'breaks. What a second guard covers is not in the list: a loop that stands still is taken over before it can be seen to go on. A test holds that the text of each still stands in its file; that it is still seen, only this table.',
    '',
    '| what was planted | where | runs until seen | by | program |',
    '|---|---|---|---|---|',
    ...rows,
    '',
  ].join('\n')
}
