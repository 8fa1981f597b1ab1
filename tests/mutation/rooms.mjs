// The tests that each room's mutants are tried against: all that run in one process and come by much of it. Those that take long are passed
// over by the runner itself; what starts processes or waits for a clock is not among them.
import { createHash } from 'node:crypto'
import { existsSync, readdirSync, readFileSync } from 'node:fs'

const run = 'decisions before-a-rise open-heaters sequencer* rule-marks first-look off-first going-off stored-charge hands prompts in-place reach-in watched-inputs dead-man mercury properties/sequencer*'
const rooms = {
  sequencer: `${run} driven qualify unattended dead-man-takes cut-off outside-timer own-mains reform-alone reform-typed`,
  off: `off off-* safe-off* ${run} supervise cut-off`,
  line: 'line* dialects poll-time dead-man watched-inputs virtual-supply properties/line cut-off',
  loop: 'loop* first-look off-first cut-off watched-inputs line-health unattended outside-timer going-off replay faults/bad-input faults/words',
  controller: 'supervise safe-off* off-at-once off left loop',
  limits: 'limits* limit-by-hand plan* shorted-capacitors let-through ceilings charts filaments gas-tubes heaters-and-strikes tube-kinds tube-types tube-without-curves driven* model-band promises learned contributors in-place mercury properties/limits properties/heaters outside/limits',
}

/** Test files of a room, by its folder's name below `src`. */
export function testsOf(room) {
  if (rooms[room] === undefined) throw new Error(`A room is one of ${Object.keys(rooms).join(', ')}, not ${room}.`)
  return [...new Set(rooms[room].split(' ').flatMap(filesOf))]
}

/** `name`, `name*` or `folder/name` of a test file; in `unit` where no folder is named. */
function filesOf(pattern) {
  const [folder, name] = pattern.includes('/') ? pattern.split('/') : ['unit', pattern]
  const matches = new RegExp(`^${name.replace('*', '[^.]*')}\\.test\\.ts$`)
  return readdirSync(new URL(`../${folder}`, import.meta.url))
    .filter((file) => matches.test(file))
    .map((file) => `tests/${folder}/${file}`)
}

/** What stands in these files, in short; in one that is not there, nothing. */
export function hashOf(files) {
  const all = createHash('sha1')
  for (const file of files) all.update(existsSync(file) ? readFileSync(file) : '')
  return all.digest('hex').slice(0, 7)
}

/** Whether a change is one of those that are tried where one in `part` is: by a hash of what it is, so the same ones wherever they are tried. */
export function isDrawn({ file, at, mutatorName, replacement }, part) {
  const hash = createHash('sha1').update(JSON.stringify([file, at, mutatorName, replacement])).digest()
  return hash.readUInt32BE(0) % part === 0
}
