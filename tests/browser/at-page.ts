import type { Browser, Page } from 'playwright-core'
import { afterAll, afterEach, beforeAll, expect } from 'vitest'
import { replayAll } from '../helpers/replayed.js'
import { openBrowser, openPage, type Look } from './chromium.js'
import { Place, serve, type Served } from './served.js'

/** Runs on the virtual bench go as fast as is asked for; what a slow machine adds is waited for. */
export const long = { timeout: 180_000 }

/** One service on a folder of its own, one browser, and the pages that a test opens in it: for all tests of a file. */
export class AtPage {
  readonly place: Place
  served!: Served
  private browser!: Browser
  private opened: Awaited<ReturnType<typeof openPage>>[] = []

  /** @param sets - folder whose files are copied, unless it is the small receiver's; `look`: of pages for which nothing else is said */
  constructor(
    sets?: string,
    private readonly look: Look = {},
  ) {
    this.place = new Place(sets)
    beforeAll(async () => {
      this.browser = await openBrowser()
      this.served = await serve(this.place)
    })
    afterEach(async () => {
      for (const { wrong, close } of this.opened) {
        expect(wrong).toEqual([])
        await close()
      }
      this.opened = []
    })
    afterAll(async () => {
      await this.browser.close()
      await this.served.end()
      try {
        replayAll(this.place.runs)
      } finally {
        this.place.remove()
      }
    })
  }

  async open(at: string, look = this.look): Promise<Page> {
    const one = await openPage(this.browser, this.address(at), look)
    this.opened.push(one)
    return one.page
  }
  address(at: string): string {
    return new URL(at, this.served.address).href
  }
  async again(): Promise<void> {
    this.served = await serve(this.place, this.served.port)
  }
  /** What a link of the page leads to, whole. */
  async linked(page: Page, name: RegExp): Promise<Buffer> {
    const link = page.getByRole('link', { name })
    await link.waitFor(long)
    const got = await page.request.get(this.address((await link.getAttribute('href')) ?? ''))
    expect(got.status(), name.source).toBe(200)
    return got.body()
  }
}

/** Goes to a control with the Tab key alone, as who has no pointer does. */
export async function tabTo(page: Page, words: RegExp): Promise<void> {
  for (let i = 0; i < 80; i++) {
    await page.keyboard.press('Tab')
    const now = await page.evaluate<string>(
      `(() => { const e = document.activeElement; return [e?.textContent, e?.getAttribute('aria-label'), e?.labels?.[0]?.textContent].join(' ') })()`,
    )
    if (words.test(now)) return
  }
  throw new Error(`No control ${words.source} is reached with Tab.`)
}

/** Asks for a run at Energise, reads its word off the screen and types it, with keys alone. `warned`: what its cautions must say; `under`: what they name under it. */
export async function start(
  page: Page,
  profile: string,
  {
    fault = '',
    speed = '10',
    warned,
    under,
  }: {
    readonly fault?: string
    readonly speed?: string
    readonly warned?: RegExp
    readonly under?: RegExp
  } = {},
): Promise<void> {
  await page.getByLabel('Profile').selectOption(profile)
  await page.getByLabel('Speed, virtual bench').selectOption(speed)
  await page.getByLabel('Faults put in, virtual bench').fill(fault)
  await page.getByRole('button', { name: 'To the cautions' }).click()
  const word = await page.locator('.word strong').textContent(long)
  if (warned !== undefined) await page.getByText(warned).first().waitFor()
  if (under !== undefined) {
    const items = page.locator('.this-run > ul > li')
    expect(await items.first().textContent()).toMatch(/^Highest voltage: /)
    const named = items.filter({ hasText: warned ?? '' }).locator('li', { hasText: under })
    expect(await named.count()).toBeGreaterThan(0)
  }
  await tabTo(page, /type the word/)
  await page.keyboard.type(word ?? '')
  await page.keyboard.press('Enter')
}

const lookEvery_ms = 100

/** Does what is asked as one at a virtual bench: takes what its meters show, says yes. Until `done`; but for one question. */
export async function answerUntil(
  page: Page,
  done: () => Promise<boolean>,
  unanswered?: string,
): Promise<void> {
  // By classes and not by roles: it is asked ten times a second, and roles are worked out for the whole page.
  const questions = page.locator(
    'section.question',
    unanswered === undefined ? {} : { hasNotText: unanswered },
  )
  const yes = questions.locator('button.chief:enabled', { hasText: /^(Yes, |Take )/ })
  while (!(await done()))
    if ((await yes.count()) > 0)
      await yes
        .first()
        .click({ timeout: 1000 })
        .catch(() => undefined)
    else await new Promise((resolve) => setTimeout(resolve, lookEvery_ms))
}

/** Answers all that is asked before this question, which is then on the screen. */
export async function answerUpTo(page: Page, question: string): Promise<void> {
  const asked = page.locator('section.question', { hasText: question })
  await answerUntil(page, async () => (await asked.count()) > 0, question)
}

/** Answers until the run has ended, and gives the sentence that it ended with. */
export async function answerToTheEnd(page: Page, unanswered?: string): Promise<string> {
  const outcome = page.locator('p.outcome')
  await answerUntil(page, async () => (await outcome.count()) > 0, unanswered)
  return (await outcome.textContent()) ?? ''
}
