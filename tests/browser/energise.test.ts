import type { Browser } from 'playwright-core'
import { afterAll, afterEach, beforeAll, beforeEach, describe, expect, it } from 'vitest'
import { tabTo } from './at-page.js'
import { planJson } from '../../src/cli/commands/plan.js'
import type { Plan } from '../../src/plan/index.js'
import type { Snapshot } from '../../src/service/api/index.js'
import { hasBrowser, openBrowser, openPage, sticksOut, unfair } from './chromium.js'
import { playService, type PlayedService } from './played-service.js'
import { atCautions, ended, liveView, nothing, plan, running, views } from './small-run.js'

/** A second with HT well up, so that every rail has something to show. */
const at = views.findLastIndex(
  ({ phase, rails }) =>
    phase === 'running' && rails.some(({ rail, volts }) => rail === 'HT' && (volts ?? 0) > 100),
)
const view = views[at] ?? views[0]!

const profileFile = {
  path: 'receive.yaml',
  kind: 'profile',
  name: plan.profile,
  bytes: 1,
  changed: '2026-01-01T12:00:00.000Z',
  equipment: 'equipment.yaml',
  bench: 'bench.yaml',
  is: 'receive',
}

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
    // Whatever was on the screen last fits a phone too.
    await opened.page.setViewportSize({ width: 320, height: 640 })
    await expect.poll(() => sticksOut(opened.page)).toBeLessThanOrEqual(0)
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

  const reading = (): NonNullable<Snapshot['prompt']> => ({
    prompt: 4,
    text: 'Read the AC volts of heaters on the meter that is clipped on since before power. No hand goes in.',
    about: 'reading',
    wants: { kind: 'reading', node: null, rail: 'heaters', unit: 'V', low: 5.7, high: 6.9 },
    needs: 'answer a reading',
    no_means: 'no stops the run',
    inside: false,
    figure: null,
    until_ms: service.now_ms() + 600_000,
    meter: null,
  })

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
    // The picture is of what was drawn last.
    await page.waitForTimeout(800)
    await page.screenshot({ path: 'docs/energise.png' })
    expect(await unfair(page)).toEqual([])
    for (const width of [320, 3840]) {
      await page.setViewportSize({ width, height: width === 320 ? 640 : 2160 })
      await expect.poll(() => sticksOut(page)).toBeLessThanOrEqual(0)
      // Of a run that is heard, as it is looked at.
      runs()
      await page.locator('.running[data-stale=false]').waitFor()
      await page.waitForTimeout(800)
      runs()
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
    service.send('snapshot', { ...running(view, service.now_ms()), prompt: reading() })
    const page = await open({ locale: 'de-DE' })
    const field = page.getByLabel('What the meter shows')
    await field.fill('6,2')
    await page.screenshot({ path: 'docs/question.png' })
    expect(await unfair(page)).toEqual([])
    await page.keyboard.press('Enter')
    await expect
      .poll(() => service.done)
      .toContainEqual({ path: '/api/live/answer', body: { live: 'one', prompt: 4, answer: '6.2 V' } })
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

  it('keeps the stop in sight above a phone’s keyboard, which a question does not bring up by itself', async () => {
    service.send('snapshot', { ...running(view, service.now_ms()), prompt: reading() })
    const page = await open({ width: 390, height: 800, phone: true })
    const field = page.getByLabel('What the meter shows')
    await field.waitFor()
    expect(await field.getAttribute('inputmode')).toBe('decimal')
    // Until it is tapped: then its keyboard takes the lower part of the screen.
    expect(await page.evaluate<string>('document.activeElement?.id')).not.toBe('reading')
    const stop = page.getByRole('button', { name: /STOP/ })
    await stop.waitFor()
    const sight = (): Promise<{ readonly foot: number; readonly stop: number }> =>
      page.evaluate(`(() => {
        const { bottom } = document.querySelector('.stop-bar').getBoundingClientRect()
        return { foot: visualViewport.offsetTop + visualViewport.height, stop: bottom }
      })()`)
    expect((await sight()).stop).toBe(800)
    // There is no keyboard here; a picture drawn closer leaves as little of the window to be seen.
    const devtools = await page.context().newCDPSession(page)
    await devtools.send('Emulation.setPageScaleFactor', { pageScaleFactor: 2 })
    await expect.poll(async () => (await sight()).foot).toBeLessThan(500)
    await expect
      .poll(async () => Math.abs((await sight()).stop - (await sight()).foot))
      .toBeLessThanOrEqual(1)
    await devtools.send('Emulation.setPageScaleFactor', { pageScaleFactor: 1 })
    await expect.poll(async () => (await sight()).stop).toBe(800)
  })

  it('is heard at a question, at hands clear and at an alarm, and says that it is not before it was touched', async () => {
    runs()
    const page = await open()
    // Every look that a test takes counts with the browser as a touch: here only a real one does.
    await page.context().addInitScript(`
      let touched = false
      addEventListener('pointerdown', () => { touched = true }, { capture: true })
      Object.defineProperty(navigator, 'userActivation', { value: { get hasBeenActive() { return touched } } })
      globalThis.tones = []
      const start = OscillatorNode.prototype.start
      OscillatorNode.prototype.start = function (at) {
        tones.push(this.frequency.value)
        start.call(this, at)
      }
    `)
    await page.reload()
    await page.getByText('No sound comes from this page yet').waitFor()
    const heard = (): Promise<number[]> => page.evaluate<number[]>('globalThis.tones.splice(0)')
    const alarm = (n: number): void => {
      service.send('message', { message: { n, at_ms: service.now_ms(), kind: 'alarm', text: `Alarm ${n}.` } })
    }
    alarm(2)
    await page.getByText('Alarm 2.').first().waitFor()
    expect(await heard()).toEqual([])
    await page.locator('main').click({ position: { x: 2, y: 2 } })
    await expect.poll(() => page.getByText('No sound comes from this page yet').count()).toBe(0)
    alarm(3)
    await expect.poll(heard).toEqual([520, 780, 520, 780, 520, 780])
    service.send('prompt', { prompt: reading() })
    await expect.poll(heard).toEqual([660])
    service.send('prompt', { prompt: null })
    service.send('hands', { hands_clear: { until_ms: service.now_ms() + 5000 } })
    await expect.poll(heard).toEqual([880, 880, 880])
    // The same once more is not news.
    service.send('hands', { hands_clear: { until_ms: service.now_ms() + 5000 } })
    await page.waitForTimeout(300)
    expect(await heard()).toEqual([])
  })

  it('shows the current that is watched in tuning as large as it can', async () => {
    service.send('snapshot', {
      ...running(view, service.now_ms()),
      prompt: {
        prompt: 5,
        text: 'Dip V9: one hand, insulated tools only, turn the knob for the least current of HT. Confirm when it is at its dip.',
        about: 'tune',
        wants: { kind: 'confirm' },
        needs: 'answer',
        no_means: 'no stops the run',
        inside: false,
        figure: 'HT',
        until_ms: service.now_ms() + 30_000,
        meter: null,
      },
    })
    const page = await open()
    const height = async (part: string): Promise<number> =>
      (await page.locator(part).first().boundingBox())?.height ?? 0
    expect(await height('.watched .number')).toBeGreaterThan(1.5 * (await height('.rail .number')))
    expect(await unfair(page)).toEqual([])
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

  it('marks what it shows before it draws anything, when its computer has slept, and goes on by a line of now', async () => {
    runs()
    const page = await open()
    await page.getByRole('region', { name: 'Rail HT' }).waitFor()
    await page.locator('main[data-connection=live]').waitFor()
    // The clock on the wall went on for an hour; the other stood still with the computer.
    await page.evaluate(`{
      const main = document.querySelector('main')
      const figure = document.querySelector('.rail .huge .number')
      globalThis.drawn = []
      globalThis.was = figure.textContent
      new MutationObserver(() => {
        drawn.push(main.dataset.connection + ' ' + document.querySelector('.rail .huge .number').textContent)
      }).observe(document.body, { attributes: true, childList: true, subtree: true, characterData: true })
      const wall = Date.now
      Date.now = () => wall() + 3_600_000
    }`)
    const now_ms = service.now_ms()
    service.send('view', { view: liveView(views[at - 20] ?? view, now_ms) })
    await expect.poll(() => page.evaluate<number>('drawn.length')).toBeGreaterThan(0)
    expect(await page.evaluate<string>('drawn[0]')).toBe(`stale ${await page.evaluate<string>('was')}`)
    await page.locator('main[data-connection=live]').waitFor()
    await expect.poll(() => service.viewers()).toBe(1)
  })

  it('tells an ending with what was measured and nothing more', async () => {
    service.send('snapshot', ended())
    const page = await open()
    await page.getByText('not measured: take it as charged').waitFor()
    await page.getByText('Measure before touching.').waitFor()
    expect((await page.textContent('body')) ?? '').not.toMatch(/safe to touch/i)
    expect(await page.getByRole('button', { name: /STOP/ }).count()).toBe(0)
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
    // The stop is there still, and the way to the same from a terminal.
    await page.getByText('slowglow safe-off --bench bench.yaml').waitFor()
    await page.getByRole('button', { name: /OFF AGAIN/ }).waitFor()
    expect(await unfair(page)).toEqual([])
    await page.keyboard.press('Escape')
    await expect.poll(() => service.done).toContainEqual({ path: '/api/live/stop', body: { by: 'key' } })
  })

  it('shows what the rails do under a question that has the screen, and that it is not known when it is not', async () => {
    service.send('snapshot', {
      ...running(view, service.now_ms()),
      prompt: {
        prompt: 6,
        text: 'HT is down. Clip the meter on the reservoir, one hand, then take your hands out and confirm.',
        about: 'inside',
        wants: { kind: 'confirm' },
        needs: 'answer',
        no_means: 'no stops the run',
        inside: true,
        figure: null,
        until_ms: service.now_ms() + 600_000,
        meter: null,
      },
    })
    const page = await open()
    const rails = page.getByRole('region', { name: 'What the rails show' })
    expect(await rails.textContent()).toMatch(/HT, output on/)
    expect(await unfair(page)).toEqual([])
    service.hush(true)
    await page.getByText(/What the rails do is not known now: take HT as on/).waitFor()
  })

  it('offers the stop where no word has come from the service, too', async () => {
    service.hush(true)
    const page = await open()
    await page.getByText(/There is no connection to the bench machine yet/).waitFor()
    await page.getByRole('button', { name: /STOP/ }).click()
    await expect.poll(() => service.done).toContainEqual({ path: '/api/live/stop', body: { by: 'control' } })
    service.hush(false)
  })

  it('is done with keys alone, from the choice of a run to its review, and fair on every screen on the way', async () => {
    service.documents['/api/files'] = () => ({ folder: 'played', files: [profileFile], left_out: 0 })
    const page = await open()
    const fair = async (of: string): Promise<void> => {
      expect(await unfair(page), of).toEqual([])
    }
    await page.getByText(/once none has watched for 2 min, the run is run down/).waitFor()
    await page.getByText('slowglow run receive.yaml --unattended').waitFor()
    await tabTo(page, /^To the cautions/)
    await page.keyboard.press('Enter')
    await expect.poll(() => service.done.map(({ path }) => path)).toContain('/api/live/start')
    service.send('snapshot', { ...atCautions, phase: 'preparing', cautions: null })
    await page.getByText('The bench is made ready').waitFor()
    await fair('preparing')
    // From here on in light: what is read in one is read in the other.
    await page.getByLabel('Light or dark').selectOption('light')
    service.send('snapshot', atCautions)
    await page.getByLabel(/type the word/).waitFor()
    await fair('cautions in light')
    await tabTo(page, /type the word/)
    await page.keyboard.type('lantern')
    await page.keyboard.press('Enter')
    await expect.poll(() => service.done.map(({ path }) => path)).toContain('/api/live/acknowledge')
    service.send('snapshot', { ...atCautions, phase: 'starting', cautions: null })
    await page.getByText('A stop counts from here on.').waitFor()
    await fair('starting')
    service.send('snapshot', {
      ...running(view, service.now_ms()),
      prompt: {
        prompt: 7,
        text: 'Fit the rectifier. Confirm when it is in.',
        about: 'fit V1',
        wants: { kind: 'confirm' },
        needs: 'answer',
        no_means: 'no stops the run',
        inside: true,
        figure: null,
        until_ms: service.now_ms() + 600_000,
        meter: null,
      },
    })
    await page
      .getByRole('button', { name: /^Yes, / })
      .and(page.locator(':enabled'))
      .waitFor()
    await fair('a question in light')
    await tabTo(page, /^Yes, /)
    await page.keyboard.press('Enter')
    await expect
      .poll(() => service.done)
      .toContainEqual({ path: '/api/live/answer', body: { live: 'one', prompt: 7, answer: 'y' } })
    service.send('snapshot', { ...running(view, service.now_ms()), phase: 'going off' })
    await page.getByText(/^▼ Going off/).waitFor()
    await fair('going off')
    service.send('snapshot', ended())
    await page.getByRole('link', { name: 'Look at this run in Review' }).waitFor()
    await fair('ending in light')
    await tabTo(page, /^Look at this run in Review/)
    await page.keyboard.press('Enter')
    await expect.poll(() => page.evaluate<string>('location.hash')).toMatch(/^#\/review\/2026/)
    await tabTo(page, /^Energise/)
    await page.keyboard.press('Enter')
    const why = {
      what: 'The record cannot be kept.',
      remedy: 'Choose another folder.',
      where: null,
      problems: [],
    }
    service.send('snapshot', {
      ...nothing,
      phase: 'refused',
      refused: { code: 'record not available', ...why },
    })
    await page.getByText('There was no run. Nothing was energised.').waitFor()
    await fair('refused')
  })

  it('tells a new device how it is let in, alarms it with nothing, and then lets it see and stop', async () => {
    service.is('none')
    runs()
    const page = await open()
    await page.getByRole('heading', { name: 'This device is not known here yet' }).waitFor()
    // Longer than a page waits for its first word before it calls itself stale.
    await page.waitForTimeout(2000)
    expect(await page.locator('.stale-line').count()).toBe(0)
    expect(await page.getByRole('button', { name: /STOP/ }).count()).toBe(0)
    expect(await page.textContent('body')).not.toMatch(/cut the mains|no connection/i)
    await page.keyboard.press('Escape')
    expect(await unfair(page)).toEqual([])
    await tabTo(page, /The code/)
    await page.keyboard.type('abcd-2345')
    await tabTo(page, /What this device is called/)
    await page.keyboard.type('phone')
    await page.keyboard.press('Enter')
    await page.getByRole('region', { name: 'Rail HT' }).waitFor()
    expect(service.done).toEqual([{ path: '/api/pair', body: { code: 'abcd-2345', name: 'phone' } }])
    await page.getByRole('button', { name: /STOP/ }).click()
    await expect.poll(() => service.done).toContainEqual({ path: '/api/live/stop', body: { by: 'control' } })
    // No longer known, in the middle of a run: that is said, and the stop is not tried for ever.
    service.is('none')
    await page.getByRole('button', { name: /STOP/ }).click()
    await page.getByText(/NOT SENT YET: This device is not paired\./).waitFor()
    await page.getByLabel('The code').waitFor()
    await page.getByText('Cut the mains of the HT sources now').first().waitFor()
  })

  it('prepares with what is there now: another plan is said to be another, a start names the one that was read', async () => {
    const planned = (named: Plan) => ({
      plan: planJson(named, []),
      courses: [],
      files: {},
      bench: 'bench.yaml',
      unfinished: null,
      cautions: 'Read.',
      parts: null,
    })
    service.documents['/api/files'] = () => ({ folder: 'played', files: [profileFile], left_out: 0 })
    service.documents['/api/plan'] = () => planned({ ...plan, hash: 'before' })
    const supply = { trouble: null, identity: 'a supply', expects: null, inputs: {}, line: 'Quiet.' }
    const channel = {
      output: 'off',
      set_V: 0,
      limit_A: 0.1,
      over_V: null,
      over_A: null,
      regulation: null,
      dead_man: null,
      volts: 0.5,
      amps: 0,
      fired: [],
      guards_off: [],
    }
    service.documents['/api/supplies'] = () => ({
      bench: 'bench.yaml',
      supplies: { high: { ...supply, channels: { out: channel } } },
    })
    const page = await open()
    await page.goto(`${service.address}#/prepare/plan/receive.yaml`)
    await page.getByRole('heading', { name: plan.profile, exact: true }).waitFor()
    const again = page.getByText(/has changed since it was shown/)
    await page.evaluate(`dispatchEvent(new Event('focus'))`)
    await page.waitForTimeout(500)
    expect(await again.count()).toBe(0)
    service.documents['/api/plan'] = () => planned({ ...plan, hash: 'after', profile: 'Another evening' })
    await page.evaluate(`dispatchEvent(new Event('focus'))`)
    await again.waitFor()
    await page.getByRole('heading', { name: 'Another evening' }).waitFor()
    expect(await unfair(page)).toEqual([])
    await page.getByRole('button', { name: 'To the cautions of this run' }).click()
    await expect
      .poll(() => service.done.find(({ path }) => path === '/api/live/start')?.body)
      .toMatchObject({ profile: 'receive.yaml', plan: 'after' })
    // The answer takes the page there: before it has, going elsewhere would be taken back.
    await expect.poll(() => page.url(), { timeout: 20_000 }).toContain('#/energise')

    // What was read of the supplies is of then, and gone when a run moves them.
    await page.goto(`${service.address}#/prepare/bench/receive.yaml`)
    await page.getByRole('button', { name: /^Ask the supplies/ }).click()
    await page.getByText(/read once, at/).waitFor()
    runs()
    await page.getByText('A run has the lines now.').waitFor()
    expect(await page.getByText(/read once, at/).count()).toBe(0)
    service.send('snapshot', nothing)

    // A text that is not written yet outlives the page.
    const text = 'slowglow: bench 1\nname: mine\n'
    await page
      .getByLabel('or drop YAML files on the page')
      .setInputFiles({ name: 'mine.yaml', mimeType: 'application/yaml', buffer: Buffer.from(text) })
    await page.getByText('Not written yet: mine.yaml').waitFor()
    await page.reload()
    await page.getByText('Not written yet: mine.yaml').waitFor()
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
