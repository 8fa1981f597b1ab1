import { where } from '../shell/places.js'
import './review.css'
import { Runs } from './runs.js'
import { OneRun } from './run.js'
import { TrendOf } from './trend.js'

/** What was: runs, one run, two laid over each other, a set over its runs. The address says which. */
export function Place() {
  const [first, second, third] = where.value.rest
  if (first === undefined) return <Runs />
  if (first === 'trend' && second !== undefined) return <TrendOf key={second} set={second} />
  return (
    <OneRun key={`${first} ${third ?? ''}`} run={first} other={second === 'with' ? (third ?? null) : null} />
  )
}
