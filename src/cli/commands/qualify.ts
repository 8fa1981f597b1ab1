import { resolve } from 'node:path'
import { createInterface } from 'node:readline'
import type { Bench } from '../../bench/index.js'
import { loadBench, qualificationPath, readQualification, writeQualification } from '../../files/index.js'
import {
  against,
  failureOf,
  figuresOf,
  loadAsSet,
  type Order,
  portOf,
  qualificationText,
  qualifyPlan,
  seenIn,
  withChannel,
  withVerdicts,
} from '../../qualify/index.js'
import { channelOf } from '../../bench/index.js'
import type { Plan } from '../../plan/index.js'
import { openRunFile, runNameOf } from '../../record/index.js'
import type { RunEnding } from '../../story/index.js'
import { type FaultSpec, readFault } from '../../virtual/index.js'
import { type Exit, exits } from '../exits.js'
import { faultHelp } from '../fault-help.js'
import type { Io } from '../io.js'
import { type After, energise, type EnergiseFlags } from '../live/energise.js'
import { collect, speedOf, whole } from '../live/flags.js'
import { AnswersEnded, Dialogue } from '../new/dialogue.js'
import { hashed } from '../plan-files.js'
import { planPage } from '../plan-text.js'
import { placed, problemText } from '../problems.js'
import { FlagTrouble, orderFrom, type OrderFlags } from '../qualify/order.js'
import { refuse } from '../refuse.js'
import { runsHelp } from '../runs-folder.js'
import type { Register } from './index.js'

interface Flags extends OrderFlags, EnergiseFlags {
  readonly bench: string
  readonly plan?: boolean
}

export const registerQualify: Register = (program, io) => {
  program
    .command('qualify')
    .description('measures one output of a supply on a dummy load; writes the figures that limits use')
    .requiredOption('--bench <file>', 'bench file')
    .option('--channel <name>', 'SUPPLY.CHANNEL that the load is on')
    .option('--load <ohms>', 'the dummy load, such as 4.7 kΩ')
    .option('--tolerance <part>', 'how far it may be off, such as 1 %')
    .option('--rated <watts>', 'what it is rated for')
    .option('--to <volts>', 'highest volts that you accept')
    .option('--meter <error>', 'error of the voltmeter that you read, such as "0.5 % + 20 mV"; none')
    .option('--skip <proof>', 'leave out: current limit, over-voltage, over-current, dead-man', collect, [])
    .option('--plan', 'prints the plan and its limits, and energises nothing')
    .option('--fault <spec>', 'virtual bench only: PART:KIND[=VALUE]@WHEN, may be given again', collect, [])
    .addHelpText('after', faultHelp)
    .option('--speed <n>', 'virtual bench only: run seconds per second, 1 to 20', speedOf, 1)
    .option('--seed <n>', 'virtual bench only: draws the supply and the load', whole)
    .option('--runs <dir>', runsHelp)
    .option('--log <file>', 'what the supervising process does, as JSON lines')
    .option('--json', 'one JSON document on standard output')
    .action(async (flags: Flags) => {
      process.exitCode = await qualify(flags, io)
    })
}

async function qualify(flags: Flags, io: Io): Promise<Exit> {
  const json = flags.json === true
  const path = resolve(io.cwd, flags.bench)
  const file = loadBench(path)
  const inFile = placed(file.problems, io.cwd)
  if (file.value === null || inFile.some(({ severity }) => severity === 'error'))
    return refuse(io, json, {
      exit: exits.finding,
      where: flags.bench,
      what: 'slowglow qualify: the bench file has errors; nothing is energised.',
      remedy: 'Mend what is named.',
      problems: inFile,
    })
  const bench = file.value
  if (bench.kind === 'real' && (flags.fault.length > 0 || flags.speed !== 1))
    return refuse(io, json, {
      exit: exits.usage,
      where: flags.bench,
      what: '--fault and --speed are for a virtual bench only; this bench file says `kind: real`.',
      remedy: 'Leave them out.',
    })
  const order = await ordered(bench, flags, io)
  if (typeof order === 'number') return order
  const made = qualifyPlan(bench, order)
  const problems = made.problems.map((each) => ({ ...each, at: null }))
  if (made.plan === null || made.bench === null)
    return refuse(io, json, {
      exit: exits.usage,
      where: order.channel,
      what: 'slowglow qualify: no plan; nothing is energised without one.',
      problems,
    })
  for (const problem of [...inFile, ...problems]) io.err(problemText(problem))
  const set = loadAsSet(made.bench, order)
  const faults: FaultSpec[] = []
  for (const text of flags.fault) {
    const read = readFault(text, set, made.bench)
    if (!read.ok)
      return refuse(io, json, {
        exit: exits.usage,
        where: text,
        what: `Fault ${text}: ${read.problem}.`,
        remedy: `${read.remedy}.`,
      })
    faults.push(read.value)
  }
  const plan = hashed(made.plan)
  if (flags.plan === true) {
    if (json) io.out(JSON.stringify(plan))
    else io.out(planPage(plan))
    return exits.done
  }
  return energise(
    {
      command: 'qualify',
      prepared: {
        plan,
        equipment: set,
        bench: made.bench,
        bench_path: path,
        files: { [flags.bench]: file.text },
        faults,
      },
      flags,
      whole: bench,
      load: { at: `${order.channel}=${order.load.ohm}`, tolerance: order.load.tolerance },
      after: (ending, run) => concluded(bench, path, order, plan, ending, run),
    },
    io,
  )
}

async function ordered(bench: Bench, flags: Flags, io: Io): Promise<Order | Exit> {
  const json = flags.json === true
  const asks = process.stdin.isTTY
  const lines = asks ? createInterface({ input: process.stdin, terminal: false }) : null
  try {
    const dialogue = lines === null ? null : new Dialogue(lines[Symbol.asyncIterator](), io.err)
    return await orderFrom(bench, flags, dialogue)
  } catch (error) {
    if (error instanceof FlagTrouble)
      return refuse(io, json, {
        exit: exits.usage,
        where: `--${error.flag}`,
        what: `slowglow qualify: --${error.flag} ${error.message}.`,
        remedy: error.remedy,
      })
    if (error instanceof AnswersEnded)
      return refuse(io, json, {
        exit: exits.usage,
        what: `slowglow qualify: the answers ended at "${error.message}". Nothing was energised.`,
      })
    throw error
  } finally {
    lines?.close()
  }
}

/**
 * Figures from the run's own record. Only a run that came to its end qualifies anything; one that ended because the supply failed
 * takes the place of whatever was good before.
 */
function concluded(
  whole: Bench,
  benchPath: string,
  order: Order,
  plan: Plan,
  ending: RunEnding,
  run: string,
): After {
  const channel = channelOf(whole, order.channel)?.channel
  const none = (why: string): After => ({
    json: { qualification: null, figures: null },
    text: `No qualification was written: ${why}`,
    finding: true,
  })
  if (channel === undefined) return none('the channel is gone.')
  const opened = openRunFile(run)
  if ('trouble' in opened) return none(`its record cannot be read (${opened.trouble}).`)
  const { reader } = opened
  try {
    const seen = seenIn(plan, order.channel, reader.entries())
    const figures = figuresOf(order, channel, seen)
    const text = qualificationText(order.channel, figures)
    const known = reader.known()
    const path = qualificationPath(benchPath, whole.qualification)
    const before = readQualification(path)
    if ('trouble' in before)
      return {
        ...none(`${path} is there and cannot be used (${before.trouble}).`),
        json: { qualification: null, figures },
      }
    const found = {
      date: (known?.started ?? '').slice(0, 10),
      slowglow: known?.version ?? '',
      run: runNameOf(run),
      identity: known?.identities[portOf(whole, order.channel)] ?? '',
      figures,
    }
    const failed = failureOf(plan, ending)
    if (failed !== null) {
      writeQualification(path, withChannel(before.value, whole.name, order, { ...found, failed }))
      const said = `THIS SUPPLY MAY NOT FEED A SET: ${failed.text}\nWritten, in place of whatever was measured of it before: ${path}`
      return {
        json: { qualification: path, channel: order.channel, figures, failed },
        text: `${text}\n${said}`,
        finding: true,
      }
    }
    if (ending.outcome !== 'completed') {
      const worse = withVerdicts(before.value, order.channel, found)
      if (worse !== null) writeQualification(path, worse)
      const kept = worse === null ? '' : ` The proofs that came out against it now stand in ${path}.`
      const said = none(
        `the run did not come to its end. What it had measured by then is above and in its record.${kept}`,
      )
      return { ...said, json: { qualification: null, figures }, text: `${text}\n${said.text}` }
    }
    writeQualification(path, withChannel(before.value, whole.name, order, found))
    const findings = against(figures)
    const told = findings.map((each) => `Finding: ${each}.`)
    return {
      json: { qualification: path, channel: order.channel, figures, findings },
      text: [text, ...told, `Written: ${path}`].join('\n'),
      finding: findings.length > 0,
    }
  } catch (error) {
    return none(`${error instanceof Error ? error.message : String(error)}.`)
  } finally {
    reader.close()
  }
}
