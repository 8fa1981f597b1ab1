import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import { gzipSync } from 'node:zlib'
import { readdirSync, readFileSync } from 'node:fs'
import type { Browser } from 'playwright-core'
import { createRunFile } from '../../src/record/index.js'
import { hasBrowser, openBrowser } from '../browser/chromium.js'
import { playService } from '../browser/played-service.js'
import { Place, serve } from '../browser/served.js'
import { liveView, plan, running, views } from '../browser/small-run.js'
import { againstLoop, type Figure, median } from './figures.js'
import { madeRun } from './review/made-run.js'

/** Readings of the run that the targets speak of. */
const judged = 10e6
const run = '20260101-000000-made'
const zooms = 8
const live_s = 20
const up_ms = 3000

/** The page in a real browser: a long run's first plot and zooms, and what a live run costs it. */
export async function pageFigures(): Promise<Figure[]> {
  if (!hasBrowser) {
    console.error('There is no browser here to measure the page in.')
    return []
  }
  const browser = await openBrowser()
  try {
    return [...(await reviewed(browser)), ...(await live(browser)), ...sizes()]
  } finally {
    await browser.close()
  }
}

async function reviewed(browser: Browser): Promise<Figure[]> {
  const place = new Place()
  const folder = join(place.root, 'runs')
  mkdirSync(folder, { recursive: true })
  const writer = createRunFile(join(folder, `${run}.slowglow`))
  for (const batch of madeRun(judged, 1)) writer.append(batch)
  writer.close()
  const served = await serve(place)
  try {
    // A service that has just been started, and is still taking up its desk, is not what a page is opened on every evening.
    await new Promise((resolve) => setTimeout(resolve, up_ms))
    const page = await browser.newPage({ viewport: { width: 1280, height: 900 } })
    // Once with nothing in the browser's memory, and once more with the page in it, as whoever works at it all evening has it.
    const first_ms: number[] = []
    for (let i = 0; i < 2; i++) {
      await page.goto('about:blank')
      await page.goto(`${served.address}#/review/${run}`)
      first_ms.push(await page.evaluate<number>(drawnAt))
    }
    const [cold_ms = NaN, warm_ms = NaN] = first_ms
    const zoom_ms: number[] = []
    for (let i = 0; i < zooms; i++) {
      const at = await page.evaluate<number>(`new Promise((done) => {
        const section = document.querySelector('section[data-drawn]')
        performance.clearMarks('traces drawn')
        const from = performance.now()
        new PerformanceObserver((list, observer) => {
          const [mark] = list.getEntriesByName('traces drawn')
          if (mark === undefined) return
          observer.disconnect()
          done(mark.startTime - from)
        }).observe({ type: 'mark' })
        for (const button of section.querySelectorAll('button')) if (button.textContent === 'Closer') button.click()
      })`)
      zoom_ms.push(at)
    }
    const million = `${judged / 1e6} million readings`
    return [
      figure(`${million}: first plot, first visit`, cold_ms, 'ms', '< 1000 ms', cold_ms < 1000),
      figure(
        `${million}: first plot, page in the browser's memory`,
        warm_ms,
        'ms',
        '< 1000 ms',
        warm_ms < 1000,
      ),
      figure(
        `${million}: zoom, click to every chart drawn`,
        median(zoom_ms),
        'ms',
        '< 100 ms',
        median(zoom_ms) < 100,
      ),
    ]
  } finally {
    await served.end()
    place.remove()
  }
}

/** When every chart of the run stood on its canvas, since the page was gone to. */
const drawnAt = `new Promise((done) => {
  new PerformanceObserver((list) => {
    const [mark] = list.getEntriesByName('traces drawn')
    if (mark !== undefined) done(mark.startTime)
  }).observe({ type: 'mark', buffered: true })
})`

/** Four rails, twenty views a second: what of one core the page takes, its drawing included. */
async function live(browser: Browser): Promise<Figure[]> {
  const twice = <T>(all: Readonly<Record<string, T>>): Record<string, T> =>
    Object.fromEntries(
      Object.entries(all).flatMap(([name, each]) => [
        [name, each],
        [`${name} 2`, each],
      ]),
    )
  const four = {
    ...plan,
    rails: Object.fromEntries(
      Object.entries(twice(plan.rails)).map(([name, rail]) => [name, { ...rail, name }]),
    ),
    steps: plan.steps.map((step) => ({ ...step, limits: twice(step.limits) })),
  }
  const from = views.findIndex(
    ({ phase, rails }) => phase === 'running' && rails.some(({ limits }) => limits !== null),
  )
  const shown = (second: number, now_ms: number) => {
    const view = views[Math.min(views.length - 1, from + Math.floor(second))] ?? views[0]!
    // No two readings are the same: each view changes every figure.
    const noise = 1 + 0.004 * Math.sin(second * 97)
    const rails = view.rails
      .map((rail) => ({ ...rail, amps: (rail.amps ?? 0) * noise, volts: (rail.volts ?? 0) * noise }))
      .flatMap((rail) => [rail, { ...rail, rail: `${rail.rail} 2` }])
    return liveView({ ...view, elapsed_s: view.elapsed_s + (second % 1), rails }, now_ms)
  }
  const service = await playService({ ...running(views[from] ?? views[0]!, 0), view: shown(0, 0) }, four)
  try {
    const page = await browser.newPage({ viewport: { width: 1280, height: 900 } })
    await page.goto(`${service.address}#/energise`)
    await page.locator('.chart canvas').first().waitFor()
    const session = await page.context().newCDPSession(page)
    // Time of its thread, not of the clock: what else runs here is not the page's.
    await session.send('Performance.enable', { timeDomain: 'threadTicks' })
    const spent_s = async (): Promise<number> => {
      const { metrics } = await session.send('Performance.getMetrics')
      return metrics.find(({ name }) => name === 'TaskDuration')?.value ?? NaN
    }
    const [began, before] = [performance.now(), await spent_s()]
    let sent = 0
    await new Promise<void>((resolve) => {
      const timer = setInterval(() => {
        sent++
        service.send('view', { view: shown(sent / 20, service.now_ms()) })
        if (sent < live_s * 20) return
        clearInterval(timer)
        resolve()
      }, 50)
    })
    const part = ((await spent_s()) - before) / ((performance.now() - began) / 1000)
    return [
      figure(
        'live page, 4 rails, 20 views a second: part of one core (its main thread)',
        part * 100,
        '%',
        '< 5 %',
        part < 0.05,
      ),
    ]
  } finally {
    await service.close()
  }
}

/** What the browser fetches, compressed; the build refuses more than is allowed before Energise can be used. */
function sizes(): Figure[] {
  return readdirSync('dist/console/assets')
    .map((name) => ({ name, bytes: gzipSync(readFileSync(join('dist/console/assets', name))).length }))
    .filter(({ bytes }) => bytes > 10_000)
    .map(({ name, bytes }) => ({
      what: `compressed size of ${name}`,
      value: bytes / 1000,
      unit: 'kB',
      yardstick: 'the build measures what Energise needs and stops above 100 kB',
      ratio: null,
      target: 'shown',
      met: null,
    }))
}

const figure = (what: string, value: number, unit: string, target: string, met: boolean): Figure => ({
  what,
  value,
  unit,
  yardstick: againstLoop(),
  ratio: null,
  target,
  met,
})
