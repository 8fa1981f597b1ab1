import { execFileSync } from 'node:child_process'
import { mkdtempSync, rmSync, symlinkSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { lineConfigOf } from '../../src/line/index.js'
import type { PortLine } from '../../src/supply/index.js'
import { channelOf, fullDialect, supplyOf } from '../helpers/line-world.js'
import { LiveLine } from '../helpers/live-line.js'
import { liveSupply } from '../helpers/live-supply.js'
import { openPty, skipWithoutSocat } from '../helpers/pty.js'

/** Pulled and plugged in again at the same name, as a name under by-id is: what stands behind it is asked who it is. */

const supply = supplyOf(fullDialect, { plate: channelOf(1) })
const cleanups: (() => unknown)[] = []
afterEach(async () => {
  for (const cleanup of cleanups.splice(0).reverse()) await cleanup()
})

/** A line that reads at one name; `plug` puts another instrument behind that name. */
async function plugged(serial: Partial<PortLine> = {}) {
  const folder = mkdtempSync(join(tmpdir(), 'slowglow-'))
  const name = join(folder, 'by-id')
  cleanups.push(() => rmSync(folder, { recursive: true }))
  const plug = async (identity: string | null) => {
    const far = await openPty()
    const device = liveSupply({ ...supply, identity }, far)
    rmSync(name, { force: true })
    symlinkSync(far.path, name)
    cleanups.push(async () => {
      device.stop()
      await far.hangUp()
    })
    return far
  }
  const first = await plug(supply.identity)
  const line = new LiveLine({ ...lineConfigOf('BENCH', supply), reply_us: 100_000 }, {
    kind: 'serial',
    path: name,
    baud: 115_200,
    spare_allowed: true,
    ...serial,
  } as PortLine)
  cleanups.push(() => line.stop())
  const readings = (): number => line.events.filter(({ kind }) => kind === 'reading').length
  await line.until(() => readings() > 4)
  return { line, first, plug, readings, name }
}

describe.skipIf(skipWithoutSocat())('a line that is plugged in again at the same name', () => {
  it('goes on with the instrument that it knows', async () => {
    const { line, first, plug, readings } = await plugged()
    await first.hangUp()
    await plug(supply.identity)
    const before = readings()
    await line.until(() => readings() > before + 4)
    expect(line.events.some(({ kind }) => kind === 'line lost')).toBe(false)
    expect(line.troubles.length).toBeGreaterThan(0)
  })

  it('is refused with another instrument behind it, whatever that reads', async () => {
    const { line, first, plug, readings } = await plugged()
    await first.hangUp()
    await plug('ANOTHER,ONE,2,2.0')
    await line.until(() => line.events.some(({ kind }) => kind === 'line lost'))
    const lost = line.events.find(({ kind }) => kind === 'line lost')
    expect(lost).toMatchObject({
      text: expect.stringMatching(/another supply answers: "ANOTHER,ONE,2,2.0" where "TEST BENCH/) as string,
    })
    const before = readings()
    line.request(1, 'BENCH.plate', 'set', { volts: 5 })
    await line.until(() => line.events.some(({ kind }) => kind === 'failed'))
    expect(readings()).toBe(before)
  })

  it('is opened with the stop bits that its bench file says', async () => {
    const { name } = await plugged({ stop_bits: 2 })
    expect(execFileSync('stty', ['-F', name, '-a']).toString()).toMatch(/[^-]cstopb/)
  })
})
