/** Parts that a question wants taken off their feed resistors. */
export const liftAsked = (about: string): readonly string[] =>
  /^lift (.+)$/.exec(about)?.[1]?.split(', ') ?? []
