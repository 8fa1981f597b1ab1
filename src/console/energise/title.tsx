import type { Snapshot } from '../../service/api/index.js'

/** Which run this is, and that a virtual one is no real one. */
export function Title({ run }: { readonly run: Snapshot['run'] }) {
  if (run === null) return null
  return (
    <div class="run-title">
      <h1>
        {run.equipment}: {run.profile_name}
      </h1>
      <p class="quiet">
        {run.bench_kind === 'virtual' ? 'Virtual bench: nothing real is energised. ' : ''}
        {run.bench}
        {run.speed !== 1 && `, ${run.speed} × as fast as life`}
        {run.faults.length > 0 && `. Faults put in: ${run.faults.join(', ')}`}
      </p>
    </div>
  )
}
