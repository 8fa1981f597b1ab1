import { ownMainsRail } from '../equipment/index.js'
/** Parts that a question wants taken off their feed resistors. */
export const liftAsked = (about: string): readonly string[] =>
  /^lift (.+)$/.exec(about)?.[1]?.split(', ') ?? []

/** What a question wants put back into the set, joined to its transformer, or started (an outside timer); null where it wants nothing of the kind. */
export const fitAsked = (about: string): string | null => /^fit (.+)$/.exec(about)?.[1] ?? null

/** Amps of the set's own pack: the first figure above its limit ends the run, since nobody but that person takes the volts off. */
export const endsAtOnce = (about: string, unit: string): boolean =>
  unit === 'A' && (about === 'own mains current' || about === `knob ${ownMainsRail}`)

/** Readings that are taken or the run ends: to say that one could not tell is no answer to them. */
export const mustBeRead = (about: string): boolean => /^(?:own mains|stored charge|fit feed )/.test(about)
