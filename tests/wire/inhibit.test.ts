import { mkdtempSync, readFileSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { type Awake, inhibitSleep } from '../../src/session/index.js'
import { fakeInhibitor, grantsSleepHold } from '../helpers/unattended.js'

const path = process.env['PATH']
const folders: string[] = []
afterEach(() => {
  process.env['PATH'] = path
  for (const folder of folders.splice(0)) rmSync(folder, { recursive: true, force: true })
})

/** What was asked of the system, with a stand-in for it that does as this script says. */
function asked(script: string): { readonly awake: Awake; readonly holds: () => string[] } {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
  folders.push(folder)
  const log = join(folder, 'asked')
  const env = fakeInhibitor(folder, `echo "$1" >> ${log}\n${script}`)
  process.env['PATH'] = env['PATH']
  const awake = inhibitSleep()
  return { awake, holds: () => readFileSync(log, 'utf8').trim().split('\n') }
}

describe('the computer is kept awake', () => {
  it('against a closed lid and a restart too, by one hold that ends with the run', async () => {
    const { awake, holds } = asked(grantsSleepHold)
    expect(await awake.lacking).toBeNull()
    expect(holds()).toEqual(['--what=sleep:idle:shutdown:handle-lid-switch'])
    let lost = false
    void awake.lost.then(() => {
      lost = true
    })
    awake.end()
    await new Promise((done) => setTimeout(done, 50))
    expect(lost).toBe(false)
  })

  it('by what may be held where the rest is denied, and that is said', async () => {
    const { awake, holds } = asked(
      `case "$1" in *lid*) echo "not for this user" >&2; exit 1;; esac\n${grantsSleepHold}`,
    )
    expect(await awake.lacking).toMatch(/ended with 1: not for this user/)
    while (holds().length < 2) await new Promise((done) => setTimeout(done, 20))
    expect(holds()[1]).toBe('--what=sleep:idle')
    awake.end()
  })

  it('and a hold that goes away under a run is told', async () => {
    const { awake } = asked('echo held; sleep 0.1; exit 3')
    expect(await awake.lacking).toBeNull()
    expect(awake.gone()).toBeNull()
    expect(await awake.lost).toMatch(/ended with 3/)
    expect(awake.gone()).toMatch(/ended with 3/)
    awake.end()
  })
})
