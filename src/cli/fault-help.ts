import { faultKinds } from '../virtual/index.js'
import { wrapLine } from './wrap.js'

/** Every fault that can be put in, by what it is put on: printed under the help of the commands that take one. */
export const faultHelp = [
  '',
  'Faults: PART:KIND[=VALUE][@WHEN]; WHEN is t>600s, step=4 (steps count from 1, as plan prints them) or HT>150V.',
  ...Object.entries(faultKinds).flatMap(([target, kinds]) =>
    wrapLine(
      `  ${target}: ${Object.entries(kinds)
        .map(([kind, { value, needed }]) => {
          const unit = value === 'rail' ? 'RAIL' : value === 'ratio' ? 'TIMES' : value
          return unit === null ? kind : needed ? `${kind}=${unit}` : `${kind}[=${unit}]`
        })
        .join(', ')}`,
      100,
    ),
  ),
  'PART is a part, tube, rail or channel by its name in the files; a line is line.SUPPLY: line.high:silent@step=9.',
].join('\n')
