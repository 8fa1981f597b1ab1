import { spawnSync } from 'node:child_process'
import { once } from 'node:events'
import { readdirSync } from 'node:fs'
import { createServer } from 'node:http'
import { connect, type Socket } from 'node:net'
import { networkInterfaces } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { type BenchState, readBenchState, stillRuns } from '../../src/controller/index.js'
import { findRun, openRunFile } from '../../src/record/index.js'
import {
  inForceShape,
  runsShape,
  type Snapshot,
  storyShape,
  tracesShape,
} from '../../src/service/api/index.js'
import { processors } from '../../src/service/stand-aside.js'
import { Streams } from '../../src/service/streams.js'
import { goesAnotherWay } from '../helpers/replayed.js'
import { ofItsOwn, PageRun, ServeProcess, Watcher } from '../helpers/serve.js'
import { program } from '../helpers/terminal.js'

const here = processors()
const short = 'tests/helpers/short/receive.yaml'
let serve: ServeProcess
let run: PageRun | null = null
beforeAll(async () => {
  serve = await ServeProcess.start('.')
})
afterEach(() => {
  run?.end()
  run = null
})
afterAll(async () => {
  await serve.end()
  serve.forget()
})

/** What its record holds; and replayed, it goes the same way to the last digit. */
function record(name: string | null | undefined) {
  const found = findRun(name ?? '', serve.runs, serve.runs)
  if ('trouble' in found) throw new Error(found.trouble)
  const opened = openRunFile(found.path)
  if ('trouble' in opened) throw new Error(opened.trouble)
  const { reader } = opened
  const known = reader.known()
  const told = { known, events: [...reader.events()], ending: reader.ending()?.ending ?? null }
  expect(goesAnotherWay(reader)).toBeNull()
  reader.close()
  return told
}

describe('a run from the page', () => {
  it('goes from its cautions to confirmed outputs, for two viewers alike, and every act is recorded with who', async () => {
    const other = new Watcher(serve)
    run = new PageRun(serve)
    const early = await serve.ask('stop')
    expect(early.status).toBe(409)
    await run.begin(short)
    const again = await serve.ask('start', {
      body: { profile: short, speed: 20 },
    })
    expect(again).toMatchObject({ status: 409, body: { error: { code: 'busy' } } })
    const wrong = await serve.ask('answer', { body: { live: 'another', prompt: 1, answer: 'y' } })
    expect(wrong.status).toBe(409)
    await run.htAbove(30)
    // What a rail's figure is of now, and how old it may be, comes with it; what was measured so far can be drawn.
    const { view, run: described, live } = await run.page.shows(({ phase }) => phase === 'running')
    const HT = view?.rails.find(({ rail }) => rail === 'HT')
    expect(HT?.limits?.trip_A).toBeGreaterThan(0)
    expect((view?.heard_ms ?? 0) - (HT?.measured_ms ?? 0)).toBeLessThan(2 * (HT?.stale_ms ?? 0))
    const drawn = tracesShape.parse(
      (await serve.ask('traces', { run: described?.run ?? '', query: '?width=200' })).body,
    )
    expect(drawn.streams.length).toBeGreaterThan(2)
    const busy = await serve.ask('supplies', { body: { bench: 'profiles/tern-rock/bench.yaml' } })
    expect(busy.status).toBe(409)
    const { ended } = await run.page.shows(({ phase }) => phase === 'ended', 150_000)
    expect(ended).toMatchObject({ outcome: 'completed', outputs_off: 'confirmed', alarm: false })
    expect(ended?.outputs).toContain('Outputs confirmed off')
    expect(ended?.charge_words).toBe('Measure before touching.')
    expect(ended?.charge.every(({ text }) => text !== '')).toBe(true)
    expect(JSON.stringify(ended).toLowerCase()).not.toMatch(/safe to/)
    const seen = await other.shows(({ phase }) => phase === 'ended')
    expect(seen.ended).toEqual(ended)
    expect(seen.live).toBe(live)
    expect(run.page.counts.view).toBeGreaterThan(20)
    expect(run.page.counts.beat).toBeGreaterThan(10)
    other.end()
    const { events, known } = record(described?.run)
    expect(known?.command).toBe('run')
    const acts = events.filter(({ what }) => what === 'act')
    expect(acts[0]?.data).toMatchObject({
      who: 'the page on the bench machine',
      role: 'bench',
      channel: 'page',
    })
    expect(acts.some(({ text }) => /cautions acknowledged with the word/.test(text))).toBe(true)
    expect(acts.some(({ text }) => /answered "y"/.test(text))).toBe(true)
    expect(events.some(({ what, data }) => what === 'begin' && JSON.stringify(data).includes('page'))).toBe(
      true,
    )
    const { runs } = runsShape.parse((await serve.ask('runs')).body)
    expect(runs.map(({ outcome }) => outcome)).toEqual(['completed'])
    const story = storyShape.parse((await serve.ask('run', { run: described?.run ?? '' })).body)
    expect(story.bands.length).toBeGreaterThan(0)
    expect(story.closing.join(' ')).toContain('easure before touching')
    const replayed = await serve.ask('replay', { run: described?.run ?? '' })
    expect(replayed.body['agrees']).toBe(true)
    const report = await serve.ask('report', { run: described?.run ?? '' })
    expect(report.text).toContain('<!')
    const csv = await serve.ask('export', { run: described?.run ?? '', query: '?format=csv' })
    expect(csv.text.split('\n').length).toBeGreaterThan(100)
    const note = await serve.ask('addNote', {
      run: described?.run ?? '',
      body: { text: 'as it should be', by: 'Ada' },
    })
    expect(note.body['by']).toBe('Ada (the page on the bench machine)')
    const held = inForceShape.parse((await serve.ask('inForce', { run: described?.run ?? '' })).body)
    expect(held.gap).toBeNull()
    expect(held.rails?.find(({ rail }) => rail === 'HT')?.trip_A.some((trip) => trip !== null)).toBe(true)
  })

  it('is stopped from the page in one act without a body: outputs off now, and shown as done only when measured', async () => {
    run = new PageRun(serve)
    await run.begin(short)
    await run.htAbove(60)
    // With every connection of this machine taken, and more: the page goes on being told, and the stop is heard.
    const { connected } = run.page
    const crowd = await Promise.all(
      Array.from({ length: 1260 }, async () => {
        const socket = connect(serve.port, '127.0.0.1')
        socket.on('error', () => undefined)
        socket.resume()
        await once(socket, 'connect')
        return socket
      }),
    )
    const isGone = (socket: Socket): boolean => socket.destroyed || socket.readableEnded
    while (crowd.filter(isGone).length < 60) await sleep(20)
    expect(run.page.connected).toBe(connected)
    // One processor is left to the controller, which has all.
    const { supervisor, controller } = stateOf(serve.runs)
    const mayRunOn = (which: number | undefined) => processors(`/proc/${which ?? 0}/status`)
    if (here.length > 1) expect(mayRunOn(supervisor.pid)).toEqual(here.slice(1))
    expect(mayRunOn(controller?.pid)).toEqual(here)
    const stopped = await serve.ask('stop')
    for (const socket of crowd) socket.destroy()
    expect(stopped.status).toBe(200)
    expect(stopped.body['stop']).toMatchObject({ how: 'off now', done: 'asked' })
    const { ended, stop, run: described } = await run.page.shows(({ phase }) => phase === 'ended')
    expect(ended).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
    expect(stop).toMatchObject({ done: 'confirmed', by: 'the page on the bench machine' })
    const { events } = record(described?.run)
    expect(events.some(({ what, text }) => what === 'act' && text.includes('off now'))).toBe(true)
    while (mayRunOn(supervisor.pid).length < here.length) await sleep(20)
  })

  it('trips on a fault, with its reason in words and figures', async () => {
    run = new PageRun(serve)
    await run.begin(short, ['C1b:short@HT>50V'])
    const { ended } = await run.page.shows(({ phase }) => phase === 'ended', 90_000)
    expect(ended).toMatchObject({ outcome: 'tripped', outputs_off: 'confirmed', reason: { rail: 'HT' } })
    expect(ended?.figures).toMatch(/measured .*limit/)
  })

  it('that ended with its alarm has OFF sent again by the same stop, and another start is not held up by it', async () => {
    run = new PageRun(serve)
    await run.begin(short, ['HT:ignores-off'])
    // Its hook-up check finds it out, at five volts.
    const { ended } = await run.page.shows(({ phase }) => phase === 'ended', 120_000)
    expect(ended).toMatchObject({ outputs_off: 'not confirmed', alarm: true })
    // Nobody supervises it any more, though the service lives: whoever comes next neither waits for it nor ends it.
    expect(stillRuns(stateOf(serve.runs).supervisor)).toBe(false)
    const other = { profile: 'profiles/small-receiver/receive.yaml', speed: 20, faults: [] }
    const elsewhere = await serve.ask('start', { body: other })
    expect(elsewhere).toMatchObject({ status: 409 })
    expect(elsewhere.text).toMatch(/outputs not confirmed off.*on another bench.*OFF again/)
    expect(run.page.now?.ended).toMatchObject({ alarm: true })
    expect((await serve.ask('stop')).status).toBe(200)
    const after = await run.page.shows(
      ({ stop: now }) => now?.how === 'off now' && now.done !== 'asked',
      120_000,
    )
    expect(after.stop).toMatchObject({ done: 'nothing to confirm' })
    expect(after.ended).toMatchObject({ alarm: false, outputs_off: 'not confirmed' })
    expect(after.ended?.outputs).toMatch(/not confirmed off. OFF was sent again/)
    // What was done since stands in its notes: the record itself had ended.
    const of = { run: after.run?.run ?? '' }
    let { notes } = storyShape.parse((await serve.ask('run', of)).body)
    for (let n = 0; notes.length === 0 && n < 100; n++) {
      await sleep(100)
      notes = storyShape.parse((await serve.ask('run', of)).body).notes
    }
    expect(notes[0]?.text).toMatch(/: OFF sent again\.\n[^]*OFF sent again: nothing to confirm\.$/)
    expect((await serve.ask('stop')).status).toBe(409)
  })

  it('is laid beside another, whichever was looked at before', async () => {
    const { runs } = runsShape.parse((await serve.ask('runs')).body)
    const [a, b] = runs.filter(({ trouble }) => trouble === null)
    const compared = await serve.ask('compare', { query: `?a=${a?.run ?? ''}&b=${b?.run ?? ''}` })
    expect(a?.run).not.toBe(b?.run)
    expect(compared).toMatchObject({ status: 200 })
    expect((await serve.ask('run', { run: a?.run ?? '' })).status).toBe(200)
  })

  it('gives up at a stop before the word, with nothing energised', async () => {
    run = new PageRun(serve)
    const { page } = run
    await serve.ask('start', { body: { profile: short, speed: 20 } })
    const { live, cautions } = await page.shows(({ phase }) => phase === 'cautions')
    // A program on this machine is told everything but the word that a person types.
    const told = await serve.ask('live')
    expect(told.text).toContain('THE VOLTAGES INSIDE KILL')
    expect(cautions?.word).toMatch(/^\w+$/)
    expect(told.body['cautions']).toMatchObject({ word: null })
    const wrong = await serve.ask('acknowledge', {
      body: { live, word: 'no such' },
    })
    expect(wrong.body).toMatchObject({ error: { code: 'wrong word' } })
    expect((await serve.ask('runDown')).status).toBe(200)
    const { refused } = await page.shows(({ phase }) => phase === 'refused')
    expect(refused?.what).toContain('Given up before anything was energised')
  })

  it('is refused before anything is opened where its files are wrong', async () => {
    const absent = await serve.ask('start', {
      body: { profile: 'absent.yaml', speed: 1 },
    })
    expect(absent.status).toBe(422)
    expect(absent.body).toMatchObject({ error: { problems: [{ severity: 'error' }] } })
    const fault = await serve.ask('start', { body: { profile: short, faults: ['C99:short'], speed: 1 } })
    expect(fault.status).toBe(422)
  })

  it('is run down by SIGTERM as in a terminal, and a service started anew is found again by the page', async () => {
    run = new PageRun(serve)
    await run.begin(short)
    await run.htAbove(60)
    const { run: described, epoch } = await run.page.shows(({ phase }) => phase === 'running')
    const { port, runs } = serve
    serve.kill('SIGTERM')
    expect(await serve.exit()).toBe(7)
    const { ending } = record(described?.run)
    expect(ending).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
    serve = await ServeProcess.start('.', { port, runs })
    const back = await run.page.shows((now) => now.epoch !== epoch)
    expect(back).toMatchObject({ phase: 'none', run: null, live: null })
    expect(run.page.connected).toBeGreaterThan(1)
  })
})

describe('a run that is left', () => {
  it('alone by every page is run down, and says so', async () => {
    const alone = await ServeProcess.start('.', { unwatched_s: 5, runs: serve.runs })
    const left = new PageRun(alone)
    await left.begin(short)
    await left.htAbove(30)
    const { run: described } = await left.page.shows(({ phase }) => phase === 'running')
    left.end()
    await sleep(6000)
    run = new PageRun(alone)
    await run.page.shows(({ phase }) => phase === 'ended')
    await alone.end()
    expect(record(described?.run).ending).toMatchObject({
      outcome: 'stopped',
      outputs_off: 'confirmed',
      reason: { text: expect.stringContaining('no page has watched') as string },
    })
  })

  it('by its controller keeps no question open beneath the alarm', async () => {
    run = new PageRun(serve)
    await run.begin(short, [], () => true)
    await run.page.shows(({ prompt }) => prompt !== null)
    process.kill(stateOf(serve.runs).controller?.pid ?? 0, 'SIGKILL')
    const now = await run.page.shows(({ phase }) => phase === 'going off' || phase === 'ended')
    expect(now).toMatchObject({ prompt: null, hands_clear: null })
    const { ended } = await run.page.shows(({ phase }) => phase === 'ended')
    expect(ended).toMatchObject({ outcome: 'failed', outputs_off: 'confirmed' })
  })

  it('by its service is told of when a service begins again', async () => {
    run = new PageRun(serve)
    await run.begin(short)
    await run.htAbove(30)
    const { port, runs } = serve
    const { run_file } = stateOf(runs)
    serve.kill('SIGKILL')
    await serve.exit()
    serve = await ServeProcess.start('.', { port, runs })
    const { messages } = await run.page.shows((now) => now.phase === 'none' && now.messages.length > 0)
    expect(messages[0]?.text).toContain(run_file)
    expect(messages[0]?.text).toContain('MAY BE ON')
  })
})

/** What the bench's state file says of the run under way. */
function stateOf(runtime: string): BenchState {
  const folder = join(runtime, 'slowglow')
  for (const name of readdirSync(folder)) {
    const state = readBenchState(join(folder, name))
    if (state !== null && state !== 'unreadable') return state
  }
  throw new Error('No run is under way.')
}

/** An address of this machine on a network; without one there is nobody to pair. */
const address = Object.values(networkInterfaces())
  .flat()
  .find((each) => each?.family === 'IPv4' && !each.internal)?.address

describe.skipIf(address === undefined)('a paired device', () => {
  it('watches, answers what it may and stops; it starts nothing, and every act is recorded as its own', async () => {
    const open = await ServeProcess.start('.', { listen: address ?? '' })
    run = new PageRun(open)
    try {
      const url = `http://${address ?? ''}:${open.port}`
      let cookie = ''
      const device = async (path: string, body?: object): Promise<{ status: number; text: string }> => {
        const response = await fetch(`${url}${path}`, {
          method: body === undefined ? 'GET' : 'POST',
          headers: { origin: url, cookie, ...(body !== undefined && { 'content-type': 'application/json' }) },
          ...(body !== undefined && { body: JSON.stringify(body) }),
        })
        cookie = response.headers.get('set-cookie')?.split(';')[0] ?? cookie
        return { status: response.status, text: await response.text() }
      }
      expect((await device('/api/live')).status).toBe(401)
      const code = /give this code: ([\w-]+)/.exec(open.said)?.[1] ?? ''
      expect((await device('/api/pair', { code, name: 'tablet' })).status).toBe(200)
      expect((await device('/api/live/start', { profile: short })).status).toBe(403)
      // A question of the bench is left open until the device has been refused at it.
      let refused = false
      await run.begin(short, [], (needs) => needs === 'hands clear' || (needs === 'answer' && !refused))
      const first = await run.page.shows(({ prompt }) => prompt?.needs === 'answer')
      const asBench = { live: first.live, prompt: first.prompt?.prompt, answer: 'y' }
      expect((await device('/api/live/answer', asBench)).status).toBe(403)
      refused = true
      // The word is for the bench machine alone.
      expect((await device('/api/live')).text).not.toMatch(/"word":"/)
      const asked = await run.page.shows(({ prompt }) => prompt?.needs === 'hands clear', 90_000)
      const { live, prompt } = asked
      const hands = await device('/api/live/hands', { live, prompt: prompt?.prompt, clear: true })
      expect(hands.status).toBe(200)
      await run.htAbove(20)
      expect((await device('/api/live/stop', {})).status).toBe(200)
      const { ended, stop, run: described } = await run.page.shows(({ phase }) => phase === 'ended')
      expect(ended).toMatchObject({ outcome: 'stopped', outputs_off: 'confirmed' })
      expect(stop).toMatchObject({
        by: expect.stringMatching(/^paired device "tablet" \([0-9a-f]{6}\)$/) as unknown,
        done: 'confirmed',
      })
      const found = findRun(described?.run ?? '', open.runs, open.runs)
      const opened = 'path' in found ? openRunFile(found.path) : found
      if (!('reader' in opened)) throw new Error(opened.trouble)
      const acts = opened.reader
        .events()
        .filter(({ what, data }) => what === 'act' && data['role'] === 'paired')
      const id = /\((\w+)\)/.exec(stop?.by ?? '')?.[1]
      expect(acts.map(({ text, data }) => [text, data['device_id']])).toEqual([
        [`paired device "tablet" (${id}): hands are clear.`, id],
        [`paired device "tablet" (${id}): off now.`, id],
      ])
      opened.reader.close()
      // Ended by its mark, typed beside the service that let it in: that the port is taken keeps nobody from it.
      const typed = [program, 'serve', '.', '--port', String(open.port), '--forget-device', id ?? '']
      const gone = spawnSync(process.execPath, typed, { env: ofItsOwn(open.runs), encoding: 'utf8' })
      expect(gone.stderr).toContain(`Ended: ${id ?? ''}.`)
      expect((await device('/api/live')).status).toBe(401)
    } finally {
      await open.end()
      open.forget()
    }
  })
})

describe('many who watch', () => {
  it('are let in up to a bound, which is told, and keep nobody from stopping', async () => {
    const controllers = Array.from({ length: 1000 }, () => new AbortController())
    // Answers that nobody holds are collected, and their connections let go for others to come in.
    const answers = await Promise.all(
      controllers.map(({ signal }) => fetch(`${serve.url}/api/live/events`, { signal })),
    )
    const statuses = answers.map(({ status }) => status)
    expect(statuses.filter((status) => status === 200).length).toBeLessThanOrEqual(56)
    expect(statuses).toContain(503)
    const status = await serve.ask('status')
    expect(status.body['viewers']).toBeLessThanOrEqual(56)
    expect(status.body['refused_viewers']).toBeGreaterThan(0)
    expect((await serve.ask('stop')).status).toBe(409)
    expect(answers.filter(({ body }) => body === null)).toEqual([])
    for (const controller of controllers) controller.abort()
    for (let spent = 0; spent < 5000; spent += 20) {
      const { body } = await serve.ask('status')
      if (body['viewers'] === 0) return
      await sleep(20)
    }
    throw new Error('Who left is still counted.')
  })

  it('and do not keep up lose figures first, then their stream, while the others get everything', async () => {
    const streams = new Streams(() => ({ now_ms: 0, phase: 'running', viewers: 0 }))
    const snapshot = { phase: 'running' } as unknown as Snapshot
    const server = createServer((_, raw) => {
      raw.writeHead(200, { 'content-type': 'text/event-stream' })
      streams.add({ raw, here: true, word: false, browser: null }, snapshot)
    })
    server.listen(0, '127.0.0.1')
    await once(server, 'listening')
    const address = server.address()
    const port = typeof address === 'object' && address !== null ? address.port : 0
    let got = 0
    const reader = connect(port, '127.0.0.1')
    reader.on('data', (bytes: Buffer) => (got += bytes.length))
    const sleeper = connect(port, '127.0.0.1')
    sleeper.pause()
    sleeper.on('error', () => undefined)
    for (const socket of [reader, sleeper]) socket.write('GET / HTTP/1.1\r\nhost: x\r\n\r\n')
    while (streams.count < 2) await sleep(5)
    const view = { text: 'x'.repeat(50_000) }
    let sent = 0
    while (streams.dropped === 0 && sent < 4000) {
      streams.send('view', { now_ms: sent, view } as never)
      streams.send('message', {
        now_ms: sent,
        message: { n: sent, at_ms: 0, kind: 'notice', text: 'y'.repeat(20_000) },
      })
      sent += 1
      await new Promise((resolve) => setImmediate(resolve))
    }
    expect(streams.skipped).toBeGreaterThan(0)
    expect(streams.dropped).toBe(1)
    expect(streams.count).toBe(1)
    const wanted = sent * 20_000
    for (let spent = 0; spent < 10_000 && got < wanted; spent += 20) await sleep(20)
    expect(got).toBeGreaterThan(wanted)
    streams.end('over')
    reader.destroy()
    sleeper.destroy()
    server.close()
  })
})
