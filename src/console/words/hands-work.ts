import type { Prompt } from '../../service/api/index.js'

/** Done with hands at the set, before the first volt, before HT or inside it: nothing else is on the screen. */
const handsWork = new Set([
  'wire',
  'stored charge',
  'nothing moved',
  'clear hands',
  'hands clear',
  'polarity',
  'ohmmeter',
])
export const isWholeScreen = ({ about, needs, inside }: Prompt): boolean =>
  needs === 'hands clear' || inside || handsWork.has(about) || /^(?:hook-up|fit |lift )/.test(about)

/** What the answer rests on may be kept as a picture; never where hands are to be still, or the seconds of tuning run. */
export const takesPhotograph = (prompt: Prompt): boolean =>
  prompt.needs !== 'hands clear' && (isWholeScreen(prompt) || prompt.wants.kind === 'reading')
