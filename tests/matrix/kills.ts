import { setTimeout as sleep } from 'node:timers/promises'
import { stripVTControlCharacters } from 'node:util'
import { chance } from '../../src/chance/index.js'
import { openRunFile } from '../../src/record/index.js'
import { integrityOf } from '../helpers/sound-file.js'
import { gone, plain } from '../helpers/terminal.js'
import { version } from '../helpers/version.js'
import { Bench, type Who } from './bench-run.js'
import { outOfOrder } from './cell.js'
import { acknowledged, confirmed } from './inside.js'
import { unsaidBy } from './shown.js'

export interface Killed {
  readonly n: number
  readonly whom: readonly Who[]
  /** Step and what the run waited for when it was killed. */
  readonly when: string
  readonly events: number
  readonly readings: number
  readonly how: string
  readonly version: string
  readonly wrong: readonly string[]
  /** Of one that does not hold. */
  readonly story?: readonly string[]
}

const victims: readonly (readonly Who[])[] = [
  ['controller'],
  ['supervisor'],
  ['recorder'],
  ['controller', 'supervisor'],
  ['controller', 'supervisor', 'recorder'],
]
/** Steps of the matrix's profile; kills fall in any of them, and some before and after. By steps, for a busy machine stretches the questions. */
const steps = 8

/** What was under way to a supply when everybody died has come there, and what came of it was looked at, ms. */
const seen_ms = 500

const everybodyDead = (whom: readonly Who[]): boolean =>
  whom.includes('controller') && whom.includes('supervisor')

/** Kills at a moment drawn by the seed, then reads what is left, then starts again on the same bench. */
export async function killAnywhere(seed: number, n: number): Promise<Killed> {
  const dice = chance(seed).fork(`kill ${n}`)
  const whom = victims[Math.floor(dice.next() * victims.length)] ?? ['controller']
  const [step, after_ms] = [Math.floor(dice.next() * (steps + 1)), dice.next() * 1500]
  const run = Bench.start(dice.next() < 0.7 ? 'pty' : 'tcp', [])
  const wrong: string[] = []
  let when = 'before the cautions'
  let how = ''
  try {
    await run.acknowledge()
    await run.meet()
    for (let i = 0; i < 7200 && (run.view?.step ?? -1) < step && run.isRunning; i++) await sleep(25)
    await sleep(after_ms)
    const { view } = run
    if (view !== null) when = `${view.phase}, step ${view.step}, ${view.waiting_for}`
    const recorder = run.pid('recorder')
    const killed_at = Date.now()
    try {
      run.kill('SIGKILL', ...whom)
    } catch {
      how = 'it was over'
    }
    const orphaned = whom.includes('supervisor')
    const everybody = everybodyDead(whom)
    if (!orphaned) how ||= `exit ${(await run.session.exit(180_000)) ?? '?'}`
    else if (everybody) await sleep(seen_ms)
    else for (let i = 0; i < 1800 && run.isOn; i++) await sleep(100)
    if (everybody && run.isOn && how === '') {
      const on = Object.entries(run.truth.at(-1)?.outputs ?? {}).flatMap(([name, is]) => (is ? [name] : []))
      const next = run.again()
      await next.shows('did not end well', 120_000)
      await next.shows(/type the word: \w+/, 120_000)
      next.type('\u0003')
      await next.exit(60_000)
      const found = stripVTControlCharacters(/Found on: ([^\r\n]*)/.exec(next.seen)?.[1] ?? '')
      const unsaid = on.filter((name) => !found.includes(name))
      if (unsaid.length > 0) wrong.push(`the next start does not say that ${unsaid.join(', ')} was left on`)
      if (!next.seen.includes('Outputs confirmed off'))
        wrong.push('the next start did not confirm the outputs off')
      how = 'made safe at the next start'
    }
    if (run.isOn) wrong.push(`left on: ${JSON.stringify(run.truth.at(-1)?.outputs ?? {})}`)
    // A recorder with nobody left ends by itself after some seconds.
    if (orphaned && !whom.includes('recorder')) await gone(recorder, 120_000)
    wrong.push(...outOfOrder(run.truth, killed_at))
    const told = await tells(run, wrong)
    return {
      n,
      whom,
      when,
      ...told,
      how: how !== '' ? how : everybodyDead(whom) ? 'nothing was on' : 'put off by the controller',
      version,
      wrong,
      ...(wrong.length === 0 ? {} : { story: run.story() }),
    }
  } catch (error) {
    const text = error instanceof Error ? (error.message.split('\n')[0] ?? '') : String(error)
    return {
      n,
      whom,
      when,
      events: 0,
      readings: 0,
      how,
      version,
      wrong: [...wrong, text],
      story: run.story(),
    }
  } finally {
    await run.end()
  }
}

/**
 * The file opens, every intent, event and reading that was acknowledged to the controller stands in it, `show` tells what happened and how
 * far it came, and finds neither damage nor a broken seal.
 */
async function tells(run: Bench, wrong: string[]): Promise<{ events: number; readings: number }> {
  const opened = openRunFile(run.file ?? '')
  if ('trouble' in opened) {
    wrong.push(`the record does not open: ${opened.trouble}`)
    return { events: 0, readings: 0 }
  }
  const { reader } = opened
  const events = [...reader.events()]
  let readings = 0
  for (const stream of reader.streams()) readings += reader.readings(stream.id).n.length
  // It raises only after the intent of the segment was confirmed as recorded; what was confirmed was put down beside the record.
  const intents = new Set(events.flatMap(({ what, intent }) => (what === 'intent' ? [intent] : [])))
  const recorded = acknowledged(run.tap)
  for (const intent of recorded)
    if (!intents.has(intent)) wrong.push(`intent ${intent} was acknowledged and is not in the record`)
  if (recorded.length === 0 && events.some(({ what }) => what === 'recorded'))
    wrong.push('what was acknowledged was not seen')
  const kept = confirmed(run.tap)
  const standing = new Set(events.map(({ t_us, what }) => `${t_us} ${what}`))
  const lost = kept.events.filter((one) => !standing.has(one))
  if (lost.length > 0)
    wrong.push(
      `${lost.length} events were confirmed and are not in the record: ${lost.slice(0, 3).join(', ')}`,
    )
  if (kept.readings > readings)
    wrong.push(`${kept.readings} readings were confirmed and ${readings} are in the record`)
  const ending = reader.ending()?.ending ?? null
  const step = events.findLast(({ what, step }) => what === 'step' && step !== null)?.step ?? null
  reader.close()
  const integrity = integrityOf(run.file ?? '')
  if (integrity !== 'ok') wrong.push(`SQLite finds the record unsound: ${String(integrity).slice(0, 200)}`)
  const { code, out } = await plain(['show', run.file ?? ''], { XDG_STATE_HOME: run.folder })
  if (code !== 0) wrong.push(`show ends with ${code}: ${out.slice(0, 300)}`)
  wrong.push(...unsaidBy(out, ending, step))
  return { events: events.length, readings }
}
