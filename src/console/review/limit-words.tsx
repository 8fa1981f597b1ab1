import type { ApiInForce } from '../../service/api/index.js'

const ofSteps =
  'The limits drawn are those of each step at its end. While a rail is raised they move there from those of the step before, and what charges its capacitors is allowed on top; while heaters are cold, the supply’s own limit is theirs.'

/** Of which moment the limits in the charts are. */
export function LimitWords({
  found,
  workOut,
}: {
  readonly found: ApiInForce | null
  readonly workOut: () => void
}) {
  if (found === null)
    return (
      <p class="quiet" role="status">
        {ofSteps} Those that were in force at every moment are being worked out from the record.
      </p>
    )
  if (found.rails === null)
    return (
      <>
        <p class="quiet">{ofSteps}</p>
        <p class="no-print">
          <button type="button" onClick={workOut}>
            Work out those of every moment; of so long a run it takes minutes
          </button>
        </p>
      </>
    )
  const known = found.rails.some(({ t_s }) => t_s.length > 0)
  return (
    <p class="quiet" role="status">
      {known
        ? 'The limits are those that were in force at each moment, by the record fed through the same decisions again: with what charged capacitors on top, none while heaters were cold, no band on a way down.'
        : ofSteps}
      {found.gap !== null && ` ${found.gap}`}
    </p>
  )
}
