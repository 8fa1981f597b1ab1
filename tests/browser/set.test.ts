import { readdirSync } from 'node:fs'
import type { Browser } from 'playwright-core'
import { afterAll, afterEach, beforeAll, describe, expect, it } from 'vitest'
import { hasBrowser, openBrowser, openPage, unfair } from './chromium.js'
import { Place, serve, type Served } from './served.js'

const long = { timeout: 180_000 }

describe.skipIf(!hasBrowser)('a set beside its runs', () => {
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
  const open = async (at: string) => {
    const one = await openPage(browser, `${served.address}${at}`)
    opened.push(one)
    return one.page
  }

  it('a reading out of range keeps it from power until a written reason lets it stand, and that stays', async () => {
    const page = await open('#/prepare/cold/receive-network.yaml')
    await page.getByRole('heading', { name: /^Cold checks of/ }).waitFor(long)
    await page.getByLabel('By (your name or initials)').fill('A restorer')
    await page.getByLabel('Meter', { exact: true }).fill('bench meter, 10 MΩ')
    const dust = page.locator('li', { has: page.getByRole('heading', { name: /^look dust/ }) })
    await dust.getByRole('button', { name: 'Bad' }).click()
    await dust.getByText(/OUT OF RANGE/).waitFor(long)
    await page.screenshot({ path: 'docs/cold.png' })
    expect(await unfair(page)).toEqual([])

    await page.getByRole('link', { name: 'Plan', exact: true }).click()
    await page.getByText('The cold checks keep this set from power').waitFor(long)
    await page.getByRole('button', { name: 'To the cautions of this run' }).click()
    await page
      .getByText(/look dust/)
      .first()
      .waitFor(long)
    await page
      .getByRole('alert')
      .getByText(/look dust/)
      .first()
      .waitFor(long)
    expect(await page.locator('.word').count()).toBe(0)
    await page.goto(`${served.address}#/prepare/cold/receive-network.yaml`)

    await dust.getByText('How and why').click()
    await dust.getByLabel(/stand as it is, because/).fill('Blown out; what is left is under the glass.')
    await dust.getByRole('button', { name: 'Waive it with this reason' }).click()
    await dust.getByText(/WAIVED by A restorer/).waitFor(long)

    await page.getByRole('link', { name: 'Plan', exact: true }).click()
    await page
      .getByText(/WAIVED cold check look dust/)
      .first()
      .waitFor(long)
    await page.getByRole('link', { name: 'Book', exact: true }).click()
    await page.getByRole('heading', { name: 'Waived, and in force' }).waitFor(long)
    expect(await unfair(page)).toEqual([])
  })

  it('takes a finding, a repair and a photograph, and gives them back whole', async () => {
    const page = await open('#/prepare/book/receive-network.yaml')
    await page.getByRole('heading', { name: 'Write into it' }).waitFor(long)
    await page.getByLabel('In words').fill('Wax has run from C1.')
    await page.getByRole('button', { name: 'Write it' }).click()
    await page.getByRole('cell', { name: /Wax has run from C1/ }).waitFor(long)
    await page.getByLabel('What', { exact: true }).selectOption('replaced')
    await page.getByLabel('Part', { exact: true }).fill('C1')
    await page.getByLabel('It was').fill('16 µF, 450 V')
    await page.getByLabel('It is now').fill('22 µF, 450 V')
    await page.getByRole('button', { name: 'Write it' }).click()
    await page.getByRole('cell', { name: /now 22 µF, 450 V/ }).waitFor(long)
    const picture = await page.screenshot()
    await page.getByLabel('What the next one shows').fill('The chassis from above')
    await page
      .getByLabel('Photograph', { exact: true })
      .setInputFiles({ name: 'above.png', mimeType: 'image/png', buffer: picture })
    const shown = page.getByRole('img', { name: 'The chassis from above' })
    await shown.waitFor(long)
    const got = await page.request.get(new URL((await shown.getAttribute('src')) ?? '', served.address).href)
    expect(Buffer.compare(await got.body(), picture)).toBe(0)
    await page
      .getByLabel('Photograph', { exact: true })
      .setInputFiles({ name: 'none.png', mimeType: 'image/png', buffer: Buffer.from('no picture') })
    await page.getByText('That is no photograph.').waitFor(long)
    expect(await unfair(page)).toEqual([])
    for (const words of [/book as one page/, /test record/]) {
      const href = await page.getByRole('link', { name: words }).getAttribute('href')
      const sheet = await page.request.get(new URL(href ?? '', served.address).href)
      expect(await sheet.text()).toMatch(/Measure before touching/)
    }
    const archive = await page.getByRole('link', { name: /archive/ }).getAttribute('href')
    const tar = await page.request.get(new URL(archive ?? '', served.address).href)
    expect((await tar.body()).includes(picture)).toBe(true)
    const books = readdirSync(place.folder).filter((name) => name.endsWith('.book'))
    expect(books).toHaveLength(1)
  })
})
