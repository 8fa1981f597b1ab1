import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import type { Browser, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { hasBrowser, openBrowser, openPage, sticksOut, unfair } from './chromium.js'
import { Place, serve, type Served } from './served.js'

/** Runs on the virtual bench go ten times as fast as life; what a slow machine adds is waited for. */
const long = { timeout: 180_000 }

/** Goes to a control with the Tab key alone, as who has no pointer does. */
async function tabTo(page: Page, words: RegExp): Promise<void> {
  for (let i = 0; i < 80; i++) {
    await page.keyboard.press('Tab')
    const now = await page.evaluate<string>(
      `(() => { const e = document.activeElement; return [e?.textContent, e?.getAttribute('aria-label'), e?.labels?.[0]?.textContent].join(' ') })()`,
    )
    if (words.test(now)) return
  }
  throw new Error(`No control ${words.source} is reached with Tab.`)
}

/** Reads the word off the screen and types it, with keys alone. */
async function acknowledge(page: Page): Promise<void> {
  const word = await page.locator('.word strong').textContent(long)
  await tabTo(page, /type the word/)
  await page.keyboard.type(word ?? '')
  await page.keyboard.press('Enter')
}

/** Does what is asked as one at a virtual bench: takes what its meters show, says yes. Until `done` is on the screen. */
async function answerUntil(page: Page, done: () => Promise<boolean>): Promise<void> {
  const yes = page.getByRole('button', { name: /^(Yes, |Take )/ })
  while (!(await done())) {
    if ((await yes.count()) > 0)
      await yes
        .first()
        .click({ timeout: 1000 })
        .catch(() => undefined)
    else await new Promise((resolve) => setTimeout(resolve, 100))
  }
}

describe.skipIf(!hasBrowser)('the page with its service', () => {
  const place = new Place()
  let browser: Browser
  let served: Served
  let opened: Awaited<ReturnType<typeof openPage>>[] = []
  beforeAll(async () => {
    browser = await openBrowser()
    served = await serve(place)
  })
  afterEach(async () => {
    for (const { wrong, close } of opened) {
      expect(wrong).toEqual([])
      await close()
    }
    opened = []
  })
  afterAll(async () => {
    await browser.close()
    await served.end()
    place.remove()
  })
  const open = async (at: string, look?: Parameters<typeof openPage>[2]) => {
    const one = await openPage(browser, `${served.address}${at}`, look)
    opened.push(one)
    return one.page
  }
  const start = async (page: Page, profile: string, fault = ''): Promise<void> => {
    await page.getByLabel('Profile').selectOption(profile)
    await page.getByLabel('Speed, virtual bench').selectOption('10')
    await page.getByLabel('Faults put in, virtual bench').fill(fault)
    await page.getByRole('button', { name: 'To the cautions' }).click()
    await acknowledge(page)
  }

  it('takes a job from a file dropped in to its report', async () => {
    const page = await open('#/prepare')
    const text = readFileSync(join(place.folder, 'receive-network.yaml'), 'utf8').replace(
      /^name: .*$/m,
      'name: The evening',
    )
    await page
      .getByLabel('or drop YAML files on the page')
      .setInputFiles({ name: 'evening.yaml', mimeType: 'application/yaml', buffer: Buffer.from(text) })
    await page.getByRole('heading', { name: 'The evening' }).waitFor(long)
    await page.getByText('Not written yet: evening.yaml').waitFor()
    await page.screenshot({ path: 'docs/prepare.png' })
    expect(await unfair(page)).toEqual([])

    await page.getByRole('link', { name: 'Write them in Files.' }).click()
    await page.getByRole('button', { name: 'Write evening.yaml' }).click()
    await page.getByText('evening.yaml is written.').waitFor()
    await page.getByText(/nothing wrong found|no error/).waitFor()
    expect(await unfair(page)).toEqual([])

    await page.getByRole('link', { name: 'Energise', exact: true }).click()
    await start(page, 'evening.yaml')
    await page.getByRole('button', { name: /STOP/ }).waitFor(long)
    await page.getByText('A photograph with it').click(long)
    await page
      .getByLabel('Photograph', { exact: true })
      .setInputFiles({ name: 'wires.png', mimeType: 'image/png', buffer: await page.screenshot() })
    await page.getByText('wires.png stands in the set’s book.').waitFor(long)
    await answerUntil(
      page,
      async () => (await page.getByRole('link', { name: 'Look at this run in Review' }).count()) > 0,
    )
    expect(await page.locator('p.outcome').textContent()).toMatch(/^● Completed/)
    await page.getByText('Outputs confirmed off').first().waitFor()
    await page.getByText('Measure before touching.', { exact: true }).waitFor()
    await page.screenshot({ path: 'docs/ending.png' })

    await page.getByRole('link', { name: 'Look at this run in Review' }).click()
    await page.locator('.chart canvas').first().waitFor(long)
    await page.screenshot({ path: 'docs/review.png' })
    expect(await unfair(page)).toEqual([])
    await page.getByText(/^What happened, by time/).click()
    await page.getByRole('cell', { name: /attached the photograph wires\.png/ }).waitFor(long)
    await page.getByText(/^Seal whole/).waitFor(long)
    await page.getByRole('button', { name: 'Closer' }).click()
    await page.getByLabel('What was found, repaired, changed').fill('Replaced nothing.')
    await page.getByRole('button', { name: 'Add the note' }).click()
    await page.getByText('Replaced nothing.').first().waitFor()
    await page.getByRole('button', { name: 'Replay', exact: true }).click()
    await page.getByText('The same decisions.').waitFor(long)
    const report = await page.getByRole('link', { name: /Report/ }).getAttribute('href')
    const got = await page.request.get(new URL(report ?? '', served.address).href)
    expect(got.status()).toBe(200)
    expect(await got.text()).toContain('The evening')
  })

  it('trips at a fault put in, and says what of it was measured', async () => {
    const page = await open('#/energise')
    await start(page, 'receive-network.yaml', 'C1:short@HT>100V')
    await answerUntil(
      page,
      async () =>
        (await page.getByText(/^■ Tripped|^✕ Failed|^◆ Stopped/i).count()) > 0 ||
        (await page.locator('.outcome').count()) > 0,
    )
    expect(await page.locator('p.outcome').textContent()).toMatch(/tripped/i)
    await page.getByText('not measured: take it as charged').first().waitFor()
    expect(await unfair(page)).toEqual([])

    await page.getByRole('link', { name: 'Look at this run in Review' }).click()
    await page.getByRole('button', { name: 'Rank the causes of what was measured' }).click(long)
    await page.locator('.ranked li').first().waitFor(long)
    expect(await page.locator('.ranked').first().textContent()).toMatch(/C1/)
    await page.locator('.drawing .mark-words').first().waitFor(long)
    await page.locator('.causes').screenshot({ path: 'docs/causes.png' })
    expect(await unfair(page)).toEqual([])
    const next = page.getByLabel(/reads, with its unit/)
    if ((await next.count()) > 0) {
      await next.fill('nonsense')
      await page.getByRole('button', { name: 'Rank again with it' }).click()
      await page.getByText(/neither volts nor ohms/).waitFor(long)
    }
    await page.getByRole('link', { name: 'Review', exact: true }).click()
    await page.getByRole('region', { name: 'Runs' }).waitFor(long)
    expect(await unfair(page)).toEqual([])
  })

  it('is stopped by a key at either of two viewers, and both see it done', async () => {
    const [page, other] = [await open('#/energise'), await open('#/prepare')]
    await start(page, 'receive.yaml')
    await other.getByRole('button', { name: /STOP/ }).waitFor(long)
    await other.getByText('2 viewers').waitFor()
    await answerUntil(page, async () => (await page.locator('.rail').count()) > 0)
    // From within a text, on another place.
    await other.getByRole('link', { name: 'Files', exact: true }).click()
    await other.getByRole('textbox', { name: /Text of/ }).click(long)
    await other.keyboard.press('Escape')
    await answerUntil(page, async () => (await page.locator('p.outcome').count()) > 0)
    for (const each of [page, other])
      await each
        .getByText(/Outputs measured off|Outputs confirmed off|stopped/)
        .first()
        .waitFor(long)
    expect(await page.locator('p.outcome').textContent()).toMatch(/stopped/i)
  })

  it('rehearses in the page with a fault at a moment of one’s choice', async () => {
    const page = await open('#/prepare/rehearse/receive-network.yaml')
    await page.getByRole('button', { name: 'Rehearse', exact: true }).click(long)
    await page.getByText('Rehearsed: completed.').waitFor(long)
    await page.getByRole('slider', { name: 'Moment' }).fill('240')
    await page.getByLabel('Part', { exact: true }).selectOption('C1')
    await page.getByLabel('Fault', { exact: true }).selectOption('short')
    await page.getByRole('button', { name: 'Put it in' }).click()
    await page.getByRole('button', { name: 'Rehearse again' }).click()
    await page.getByText(/^Rehearsed: tripped/).waitFor(long)
    await page.screenshot({ path: 'docs/rehearse.png', fullPage: true })
    expect(await unfair(page)).toEqual([])
  })

  it('is fair and fits on every other screen, at a phone’s width too', async () => {
    const page = await open('#/prepare/plan/receive-network.yaml')
    for (const [at, ready] of [
      ['#/prepare/plan/receive-network.yaml', 'Hook-up'],
      ['#/prepare/set/receive-network.yaml', 'What hangs on it'],
      ['#/prepare/cold/receive-network.yaml', 'Cold checks of'],
      ['#/prepare/coverage/receive-network.yaml', 'What was tried'],
      ['#/prepare/book/receive-network.yaml', 'All of it, in order'],
      ['#/prepare/bench/receive-network.yaml', 'Qualification'],
      ['#/prepare/new/receive-network.yaml', 'A new set'],
      ['#/review', 'Runs'],
      ['#/energise', 'Another run'],
    ] as const) {
      await page.goto(`${served.address}${at}`)
      await page.getByRole('heading', { name: ready }).first().waitFor(long)
      for (const width of [1280, 320]) {
        await page.setViewportSize({ width, height: 900 })
        await expect.poll(() => sticksOut(page), { message: `${at} at ${width}` }).toBeLessThanOrEqual(0)
      }
      expect(await unfair(page), at).toEqual([])
    }
    await page.emulateMedia({ media: 'print' })
    expect(await page.locator('header.top nav').isVisible()).toBe(false)
  })

  it('comes back by itself when the service was started anew', async () => {
    const page = await open('#/energise')
    await page.locator('main[data-connection=live]').waitFor()
    const { port } = served
    await served.end()
    await page.getByText(/^✕ Stale since/).waitFor()
    served = await serve(place, port)
    await page.locator('main[data-connection=live]').waitFor(long)
  })
})
