/**
 * The HTTP API of `slowglow serve`, as types and shapes: pure, without the server, so that the page and people's own scripts
 * can build on it. `GET /api/openapi.json` is the same for other languages.
 *
 * How to use it from a page: `paths` alone carries no library (`api/paths.ts`); take everything else as types (`import type`).
 * `Body<'start'>` is what goes in, `Reply<'start'>` what comes back, `EventData<'view'>` what the stream brings.
 *
 * What holds for all of it:
 * - JSON in and out, SI units. Anything but 2xx is an `ApiError`: a code for programs, sentences for people, problems with file,
 *   line and column. Nothing was done then.
 * - Who may do what is `may` (access.ts). `GET /api/me` says who you are. Whoever sees can stop.
 * - A start goes: `start` → the stream shows phase `cautions` with text and word → `acknowledge` with the word as typed →
 *   `starting`, `running`, `going off`, `ended`. Before the word a stop gives up (phase `refused`); after it a stop is one of the
 *   run, and it is done when `stop.done` says `confirmed`, as measured at the supplies' terminals: that says nothing of the charge.
 * - Acts carry `live`, the id from the snapshot, but for the two stops, which need nothing at all.
 * - `events` sends a whole `snapshot` first and after every loss; no history has to be asked for. Every event carries `now_ms` of
 *   the service's clock. No `beat` for a second: show every figure as stale. Another `epoch`: the service was started anew.
 * - What a run measured so far comes from `traces` of its `run.run`, also while it is under way.
 * - Heavy questions are answered beside the run by a process of their own, in turn; too many at once is `busy` (503): ask again.
 */
export * from './access.js'
export * from './common.js'
export * from './files.js'
export * from './in-force.js'
export * from './live.js'
export * from './plans.js'
export { everywhere, type RouteShape } from './route.js'
export * from './routes.js'
export * from './runs.js'
export * from './sets.js'
export type { RouteName } from './paths.js'
