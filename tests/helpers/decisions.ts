import { createHash } from 'node:crypto'
import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { gunzipSync, gzipSync } from 'node:zlib'
import type { Plan } from '../../src/plan/index.js'
import { begin, type Command, type Event, step } from '../../src/sequencer/index.js'

/*
 * What a sequencer was fed in runs of one plan, and every command that it gave: kept from one version of the program to the next, so that
 * what was decided once is decided again. `npm run simulate -- --decisions` chooses them.
 */
export const folder = 'tests/decisions'

/** An event, its time counted from the one before. */
type Since = Event
export interface DecidedRun {
  readonly of: string
  readonly fed: readonly Since[]
  /** Commands by the number of the event that they were given for. */
  readonly gave: readonly (readonly [number, readonly Command[]])[]
}
export interface Decided {
  readonly plan: Plan
  readonly runs: readonly DecidedRun[]
}

export function fedSince(events: readonly Event[]): Since[] {
  let at_us = 0
  return events.map((event) => {
    const t_us = event.t_us - at_us
    at_us = event.t_us
    return { ...event, t_us }
  })
}

/** What today's sequencer gives for what was fed; as JSON has it, since that is what is kept. `until`: the first that is not as expected ends it. */
export function decided(
  plan: Plan,
  fed: readonly Since[],
  until: (at: number, commands: string) => boolean = () => false,
): DecidedRun['gave'] {
  const gave: [number, readonly Command[]][] = []
  let state = begin(plan)
  let t_us = 0
  for (const [at, event] of fed.entries()) {
    t_us += event.t_us
    const after = step(state, { ...event, t_us }, undefined, true)
    state = after.state
    if (after.commands.length > 0) gave.push([at, after.commands])
    if (until(at, JSON.stringify(after.commands))) break
  }
  return gave
}

export function readDecided(path: string): Decided {
  return JSON.parse(gunzipSync(readFileSync(path)).toString()) as Decided
}
export function writeDecided(path: string, runs: Decided): void {
  writeFileSync(path, gzipSync(JSON.stringify(runs), { level: 9 }))
}
export const keptFiles = (of: string): string[] =>
  existsSync(of)
    ? readdirSync(of).flatMap((name) => (name.endsWith('.json.gz') ? [`${of}/${name}`] : []))
    : []

/** Where the runs of tests are laid down that some are to be chosen of; usually nowhere. */
const laid = process.env['SLOWGLOW_LAY_DOWN']
/** Of one test no more runs, and no longer ones. */
const most = { runs: 3, events: 15_000 } as const
const begun = new Map<string, { readonly plan: Plan; readonly events: Event[] }[]>()

/** Keeps what a test feeds its sequencer, where that was asked for. */
export function layDown(plan: Plan): ((event: Event) => void) | null {
  if (laid === undefined) return null
  const of = (globalThis as { nameOfTest?: () => string }).nameOfTest?.() ?? ''
  const own = begun.get(of) ?? []
  begun.set(of, own)
  if (own.length >= most.runs) return null
  const events: Event[] = []
  own.push({ plan, events })
  return (event) => {
    if (events.length < most.events) events.push(JSON.parse(JSON.stringify(event)) as Event)
  }
}

/** At the end of a file of tests. */
export function laidDown(): void {
  if (laid === undefined) return
  mkdirSync(laid, { recursive: true })
  for (const [of, runs] of begun)
    for (const [i, { plan, events }] of runs.entries()) {
      const name = createHash('sha1').update(`${of} ${i}`).digest('hex').slice(0, 12)
      writeDecided(`${laid}/${name}.json.gz`, { plan, runs: [{ of, fed: fedSince(events), gave: [] }] })
    }
  begun.clear()
}
