import { existsSync } from 'node:fs'
import { type Browser, chromium, type Page } from 'playwright-core'
import { AxeBuilder } from '@axe-core/playwright'

/** Debian's own browser: nothing is fetched for the tests. */
const executablePath = '/usr/bin/chromium'
export const hasBrowser = existsSync(executablePath)
if (!hasBrowser && process.env['CI'] !== undefined)
  throw new Error(`There is no ${executablePath}: CI must have it.`)
if (!hasBrowser) console.warn(`Skipped: there is no ${executablePath} to try the page in.`)

export const openBrowser = (): Promise<Browser> =>
  chromium.launch({
    executablePath,
    headless: true,
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  })

export interface Look {
  readonly width?: number
  readonly height?: number
  readonly light?: boolean
  readonly locale?: string
  /** A finger in place of a pointer, and a window that can be drawn closer. */
  readonly phone?: boolean
}

/** A page in a context of its own; whatever it says is wrong is kept, since a policy that is broken is only told there. */
export async function openPage(
  browser: Browser,
  address: string,
  { width = 1280, height = 900, light = false, locale = 'en-GB', phone = false }: Look = {},
): Promise<{ readonly page: Page; readonly wrong: string[]; readonly close: () => Promise<void> }> {
  const context = await browser.newContext({
    viewport: { width, height },
    colorScheme: light ? 'light' : 'dark',
    locale,
    reducedMotion: 'reduce',
    ...(phone && { hasTouch: true, isMobile: true }),
  })
  if (light) await context.addInitScript("localStorage.setItem('slowglow.theme', 'light')")
  const page = await context.newPage()
  const wrong: string[] = []
  page.on('pageerror', (error) => wrong.push(String(error)))
  page.on('console', (message) => {
    if (/Content Security Policy|Refused to/.test(message.text())) wrong.push(message.text())
  })
  page.on('request', (request) => {
    if (new URL(request.url()).origin !== new URL(address).origin)
      wrong.push(`asked another machine: ${request.url()}`)
  })
  await page.goto(address)
  return { page, wrong, close: () => context.close() }
}

/** What an audit for people who see, hear or move otherwise finds. Nothing is what is wanted. */
export async function unfair(page: Page): Promise<string[]> {
  const { violations } = await new AxeBuilder({ page }).analyze()
  return violations.map(
    ({ id, nodes }) => `${id}: ${nodes.map(({ html }) => html.slice(0, 160)).join(' | ')}`,
  )
}

/** How much wider than its window the page is, px. */
export const sticksOut = (page: Page): Promise<number> =>
  page.evaluate<number>('document.documentElement.scrollWidth - document.documentElement.clientWidth')
