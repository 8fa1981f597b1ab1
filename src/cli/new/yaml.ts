import { stringify } from 'yaml'
import { formatQuantity } from '../../quantities/index.js'

/** Text as YAML writes it on one line, in quotes where it needs them. */
export const q = (text: string): string =>
  stringify(text, { lineWidth: 0, defaultStringType: 'PLAIN', blockQuote: false }).trim()
export const v = formatQuantity
/** Where a figure comes from that was typed here. */
export const owner = 'owner, asked by slowglow new'
