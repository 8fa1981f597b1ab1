import type { Browser } from 'playwright-core'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { hasBrowser, openBrowser, openPage, sticksOut, unfair } from './chromium.js'
import { playService, type PlayedService } from './played-service.js'
import { atCautions, ended, liveView, nothing, plan, running, views } from './small-run.js'

/** A second with HT well up, so that every rail has something to show. */
const at = views.findLastIndex(
  ({ phase, rails }) =>
    phase === 'running' && rails.some(({ rail, volts }) => rail === 'HT' && (volts ?? 0) > 100),
)
const view = views[at] ?? views[0]!

describe.skipIf(!hasBrowser)('the page at the bench', () => {
  let browser: Browser
  let service: PlayedService
  let opened: Awaited<ReturnType<typeof openPage>>
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(() => browser.close())
  beforeEach(async () => {
    service = await playService(nothing, plan)
  })
  afterEach(async () => {
    expect(opened.wrong).toEqual([])
    await opened.close()
    await service.close()
  })
  const open = async (look?: Parameters<typeof openPage>[2]) => {
    opened = await openPage(browser, `${service.address}#/energise`, look)
    return opened.page
  }
  const runs = (): void => {
    service.send('snapshot', running(view, service.now_ms()))
  }

  it('shows the cautions in full and takes nothing but their word', async () => {
    service.send('snapshot', atCautions)
    const page = await open()
    await page.getByText('THE VOLTAGES INSIDE KILL').waitFor()
    await page.getByText('Highest voltage').waitFor()
    expect(await unfair(page)).toEqual([])
    const start = page.getByRole('button', { name: 'Acknowledge and start' })
    expect(await start.isDisabled()).toBe(true)
    await page.getByLabel(/type the word/).fill('lantern')
    await page.keyboard.press('Enter')
    await expect
      .poll(() => service.done)
      .toContainEqual({ path: '/api/live/acknowledge', body: { live: 'one', word: 'lantern' } })
  })

  it('shows every rail in large figures with what is expected, and the stop, at any width', async () => {
    const from = Math.max(0, at - 140)
    service.send('snapshot', running(views[from]!, service.now_ms()))
    const page = await open()
    await page.getByRole('region', { name: 'Rail HT' }).waitFor()
    for (let i = from; i <= at; i++) service.send('view', { view: liveView(views[i]!, service.now_ms() + i) })
    const HT = page.getByRole('region', { name: 'Rail HT' })
    await HT.getByText('within the band').waitFor()
    runs()
    expect(await HT.textContent()).toContain('expected')
    await page.getByRole('button', { name: /STOP/ }).waitFor()
    await page.locator('.chart canvas').first().waitFor()
    await page.screenshot({ path: 'docs/energise.png' })
    expect(await unfair(page)).toEqual([])
    for (const width of [320, 3840]) {
      await page.setViewportSize({ width, height: width === 320 ? 640 : 2160 })
      await expect.poll(() => sticksOut(page)).toBeLessThanOrEqual(0)
      await page.screenshot({ path: `docs/energise-${width}.png` })
      const stop = await page.getByRole('button', { name: /STOP/ }).boundingBox()
      expect((stop?.y ?? 0) + (stop?.height ?? 1e9)).toBeLessThanOrEqual(width === 320 ? 640 : 2160)
    }
  })

  it('is as fair in light as in dark', async () => {
    runs()
    const page = await open({ light: true })
    await page.getByRole('region', { name: 'Rail HT' }).waitFor()
    expect(await unfair(page)).toEqual([])
  })

  it('stops at Esc from within a text field, says sent, and done only when it was measured', async () => {
    service.send('snapshot', {
      ...running(view, service.now_ms()),
      prompt: {
        prompt: 4,
        text: 'Read the reservoir against chassis and type the volts.',
        about: 'reading',
        wants: { kind: 'reading', node: 'reservoir', rail: null, unit: 'V', low: 230, high: 260 },
        needs: 'answer a reading',
        no_means: 'no stops the run',
        inside: false,
        until_ms: service.now_ms() + 600_000,
        meter: null,
      },
    })
    const page = await open({ locale: 'de-DE' })
    const field = page.getByLabel('What the meter shows')
    await field.fill('244,5')
    await page.screenshot({ path: 'docs/question.png' })
    expect(await unfair(page)).toEqual([])
    await page.keyboard.press('Enter')
    await expect
      .poll(() => service.done)
      .toContainEqual({ path: '/api/live/answer', body: { live: 'one', prompt: 4, answer: '244.5 V' } })
    await field.focus()
    await page.keyboard.press('Escape')
    await expect.poll(() => service.done).toContainEqual({ path: '/api/live/stop', body: { by: 'key' } })
    const stop = { how: 'off now' as const, by: 'bench page, key', at_ms: service.now_ms() }
    service.send('stop', { stop: { ...stop, done: 'asked' } })
    await page.getByText('the outputs are being measured').waitFor()
    expect(await page.getByText('done. Outputs measured off').count()).toBe(0)
    service.send('stop', { stop: { ...stop, done: 'confirmed' } })
    await page.getByText('done. Outputs measured off. Measure before touching.').waitFor()
  })

  it('says that a stop was not sent, and sends it until it is heard', async () => {
    runs()
    const page = await open()
    await page.getByRole('button', { name: /STOP/ }).waitFor()
    service.answers(() => 500)
    await page.getByRole('button', { name: /STOP/ }).click()
    await page.getByText('NOT SENT YET').waitFor()
    await page.getByText('Cut the mains of the HT sources now (not of the bias)').waitFor()
    service.answers(() => 200)
    await page.getByText('Stop: heard at the bench.').waitFor()
    expect(service.done.filter(({ path }) => path === '/api/live/stop').length).toBeGreaterThan(1)
  })

  it('shows figures of a line that went quiet as stale within a second, and comes back by itself', async () => {
    runs()
    const page = await open()
    await page.getByRole('region', { name: 'Rail HT' }).waitFor()
    await page.locator('main[data-connection=live]').waitFor()
    // Asked in the page's own time, so that a slow machine does not stretch it.
    await page.evaluate(`{
      const main = document.querySelector('main')
      let beat = performance.now()
      globalThis.quietFor = null
      new MutationObserver(() => {
        if (main.dataset.connection === 'stale') globalThis.quietFor = performance.now() - beat
      }).observe(main, { attributes: true })
      globalThis.beaten = () => { beat = performance.now() }
    }`)
    await page.evaluate('beaten()')
    service.hush(true)
    await page.getByText(/^✕ Stale since/).waitFor()
    expect(await page.evaluate<number>('quietFor')).toBeLessThan(1000 + 400)
    const struck = await page.evaluate<string>(
      `getComputedStyle(document.querySelector('.rail .huge .number')).textDecorationLine`,
    )
    expect(struck).toBe('line-through')
    expect(await page.locator('.rail').first().textContent()).toContain('stale, not of now')
    await page.screenshot({ path: 'docs/stale.png' })
    expect(await unfair(page)).toEqual([])
    await page.getByRole('button', { name: /STOP/ }).waitFor()
    service.hush(false)
    await page.locator('main[data-connection=live]').waitFor()
    await expect.poll(() => page.getByText(/^✕ Stale since/).count()).toBe(0)
  })

  it('tells an ending with what was measured and nothing more', async () => {
    service.send('snapshot', ended())
    const page = await open()
    await page.getByText('not measured: take it as charged').waitFor()
    await page.getByText('Measure before touching.').waitFor()
    expect((await page.textContent('body')) ?? '').not.toMatch(/safe to touch/i)
    expect(await page.getByRole('button', { name: /STOP/ }).count()).toBe(0)
    await page.screenshot({ path: 'docs/ending.png' })
    expect(await unfair(page)).toEqual([])
    service.send(
      'snapshot',
      ended({
        outputs_off: 'not confirmed',
        alarm: true,
        outputs: 'OUTPUTS NOT CONFIRMED OFF: HT. Cut the mains of the HT sources now (not of the bias).',
      }),
    )
    await page.getByRole('alert').getByText('OUTPUTS NOT CONFIRMED OFF: HT').first().waitFor()
  })

  it('shows hands clear over the whole screen', async () => {
    service.send('snapshot', {
      ...running(view, service.now_ms()),
      hands_clear: { until_ms: service.now_ms() + 60_000 },
    })
    const page = await open()
    await page.getByRole('heading', { name: 'HANDS CLEAR' }).waitFor()
    await page.screenshot({ path: 'docs/hands-clear.png' })
    expect(await unfair(page)).toEqual([])
  })
})
