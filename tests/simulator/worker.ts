import { someRuns } from './many.js'
import { loadParts } from './parts.js'

/* One of the processes among which many runs are shared: it takes piece after piece, and ends with whoever gives them. */
const parts = loadParts()

process.on('message', (piece) => {
  const { seed, from, count } = piece as {
    readonly seed: number
    readonly from: number
    readonly count: number
  }
  process.send?.(someRuns(parts, seed, from, count))
})
process.on('disconnect', () => process.exit(0))
