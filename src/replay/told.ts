import { type Command, type Stepped, step, type Event, type State } from '../sequencer/index.js'
import {
  lastTyped,
  runEnding,
  type RunEntry,
  type RunEvent,
  storedCharge,
  toldOfRecord,
  toldOfRequest,
} from '../story/index.js'

/**
 * One event through today's sequencer, and what a record of it would tell: the same words a live run hands to its recorder. `isOwn`:
 * nobody else has this state.
 */
export function toldBy(
  state: State,
  event: Event,
  from: RunEvent['from'],
  isOwn = false,
): { readonly state: State; readonly told: readonly RunEntry[] } {
  const after = step(state, event, undefined, isOwn)
  return {
    state: after.state,
    told: after.commands.flatMap((command) => entryOf(command, after, event, from)),
  }
}

function entryOf(command: Command, { state }: Stepped, event: Event, from: RunEvent['from']): RunEntry[] {
  switch (command.kind) {
    case 'line':
    case 'urgent off':
      return [toldOfRequest(command, event.t_us, from)]
    case 'record':
      return [toldOfRecord(command.entry, event.t_us, from)]
    case 'end': {
      const { plan } = state
      const charge = storedCharge(plan, state)
      const ending = runEnding(command.ending, charge, event.t_us / 1e6, lastTyped(plan, state))
      return [{ entry: 'ending', t_us: event.t_us, ending }]
    }
    // What a person is shown: each has a recorded event of its own beside it.
    case 'prompt':
    case 'prompt closed':
    case 'alarm':
    case 'notice':
    case 'hands clear':
      return []
  }
}

/** Who tells what the sequencer decided. */
export const decides = (from: RunEvent['from']): boolean => from === 'controller' || from === 'rehearsal'

/** In words, for one who compares. */
export function inWords(entry: RunEntry): string {
  if (entry.entry === 'ending')
    return `the run ends: ${entry.ending.outcome}${entry.ending.reason === null ? '' : `, ${entry.ending.reason.text}`}`
  if (entry.entry !== 'event') return entry.entry
  const { what, text, data } = entry.event
  if (what !== 'asked') return `${what}: ${text}`
  const figures = ['volts', 'limit_A', 'over_voltage_V'].flatMap((name) =>
    typeof data[name] === 'number'
      ? [`${name.replace(/_?V$/, ' V').replace(/_A$/, ' A')} ${data[name]}`]
      : [],
  )
  return [text, ...figures].join(', ')
}

/** The step an entry belongs to, numbered from 1. */
export const stepOf = (entry: RunEntry): number | null => (entry.entry === 'event' ? entry.event.step : null)

export const timeOf = (entry: RunEntry): number | null =>
  entry.entry === 'event' ? entry.event.t_us : 't_us' in entry ? entry.t_us : null
