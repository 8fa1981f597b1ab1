import { existsSync, mkdtempSync, readdirSync, readFileSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { afterEach, describe, expect, it } from 'vitest'
import { LiveRun, shortProfile } from '../helpers/live-run.js'
import { childrenOf, gone, processesWith } from '../helpers/terminal.js'

let run: LiveRun | null = null
afterEach(async () => {
  await run?.end()
  run = null
})
async function raised(...args: string[]): Promise<LiveRun> {
  run = new LiveRun([shortProfile, '--speed', '20', ...args])
  await run.acknowledge()
  await run.htAbove(30)
  return run
}
/** Where in the record something was first said of a rail going off. */
function first(live: LiveRun, ...words: readonly string[]): number {
  const { events } = live.record()
  return events.findIndex(
    ({ from, text }) => from === 'supervisor' && words.every((word) => text.includes(word)),
  )
}

/**
 * Has the controller stand in its next message to the supervisor, once `wanted` exists, until the supervisor is dead: the
 * moment in which a send meets a closed pipe, which is otherwise met by chance.
 */
function holdingItsSend(wanted: string, held: string): string {
  const code = `
    import { existsSync, writeFileSync } from 'node:fs'
    if (process.argv[1]?.includes('controller.process')) {
      const send = process.send.bind(process), parent = process.ppid
      process.send = (...said) => {
        if (existsSync('${wanted}')) {
          writeFileSync('${held}', '')
          while (process.ppid === parent);
        }
        return send(...said)
      }
    }`
  return `--import=data:text/javascript,${encodeURIComponent(code)}`
}

describe('the supervisor over a real terminal line', () => {
  it('has the outputs off when the controller is killed in mid-ramp, bias after HT, and says so in the record', async () => {
    const live = await raised()
    process.kill(live.controller, 'SIGKILL')
    expect(await live.exit(60_000)).toBe(8)
    const { ending } = live.record()
    expect(ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(ending?.reason).toMatchObject({ code: 'controller-lost' })
    expect(ending?.reason?.text).toContain('SIGKILL')
    expect(ending?.stored_charge).toEqual({ reservoir: 'not measured' })
    const ht = first(live, 'OFF sent')
    const bias = first(live, 'Bias off')
    expect(ht).toBeGreaterThanOrEqual(0)
    expect(bias).toBeGreaterThan(ht)
    expect(live.session.seen).toContain('take it as charged')
  })

  it('has them off as well when the controller only stands still (SIGSTOP), and ends it', async () => {
    const live = await raised()
    const { controller } = live
    process.kill(controller, 'SIGSTOP')
    expect(await live.exit(60_000)).toBe(8)
    await gone(controller)
    const { ending } = live.record()
    expect(ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(ending?.reason?.text).toContain('silent for')
    expect(first(live, 'Bias off')).toBeGreaterThan(first(live, 'OFF sent'))
  })

  it('has them off when the controller breaks: it writes OFF itself, leaves, and is taken over', async () => {
    const breaks = `--import "data:text/javascript,process.on('SIGUSR2',()=>{throw new Error('broken')})"`
    const live = new LiveRun([shortProfile, '--speed', '20'], undefined, { NODE_OPTIONS: breaks })
    run = live
    await live.acknowledge()
    await live.htAbove(30)
    process.kill(live.controller, 'SIGUSR2')
    expect(await live.exit(60_000)).toBe(8)
    const { ending, events } = live.record()
    expect(ending).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
    expect(ending?.reason?.text).toContain('exit code 70')
    expect(events.some(({ what, text }) => what === 'trouble' && text.includes('broken'))).toBe(true)
  })

  it('leaves the bias on and exits 4 when the controller is lost and HT ignores OFF', async () => {
    const live = await raised('--fault', 'HT:ignores-off@HT>20V')
    process.kill(live.controller, 'SIGKILL')
    expect(await live.exit(60_000)).toBe(4)
    expect(live.session.seen).toContain('Cut the mains of the HT sources')
    expect(first(live, 'Bias off')).toBe(-1)
    expect(first(live, 'Heaters off')).toBeGreaterThanOrEqual(0)
  })

  it('is itself watched: when it is killed the controller makes safe and keeps the record', async () => {
    const live = await raised()
    const { controller } = live
    process.kill(live.session.leader, 'SIGKILL')
    await gone(controller, 60_000)
    const { ending } = live.record()
    expect(ending?.outputs_off).toBe('confirmed')
    expect(ending?.reason?.code).toBe('parent-lost')
  })

  it('cannot take the controller with it by dying in the middle of a message: that send fails, the rails go off', async () => {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-test-'))
    const [wanted, held] = [join(folder, 'hold'), join(folder, 'held')]
    run = new LiveRun([shortProfile, '--speed', '20'], folder, { NODE_OPTIONS: holdingItsSend(wanted, held) })
    await run.acknowledge()
    await run.htAbove(30)
    const live = run
    const { controller } = live
    writeFileSync(wanted, '')
    while (!existsSync(held)) await new Promise((resolve) => setTimeout(resolve, 1))
    process.kill(live.session.leader, 'SIGKILL')
    await gone(controller, 60_000)
    const { ending } = live.record()
    expect(ending).toMatchObject({
      outcome: 'failed',
      outputs_off: 'confirmed',
      reason: { code: 'parent-lost' },
    })
  })

  it('makes safe when the recorder is killed, says why, and keeps elsewhere what was not confirmed', async () => {
    const live = await raised()
    const [recorder] = childrenOf(live.session.leader).filter((pid) =>
      processesWith('recorder.process').includes(pid),
    )
    process.kill(recorder ?? 0, 'SIGKILL')
    expect(await live.exit(60_000)).toBe(8)
    const { seen } = live.session
    expect(seen).toContain('The record is not being kept')
    expect(seen).toContain('Outputs confirmed off')
    expect(seen).toMatch(/is\s+kept\s+in/)
    // In the data folder of this start, where `show` finds it.
    const kept = join(live.folder, 'slowglow', 'runs')
    const [file = ''] = readdirSync(kept)
    expect(file).toMatch(/-unrecorded\.jsonl$/)
    expect(readFileSync(join(kept, file), 'utf8')).toContain('recorder-lost')
  })
})
