import { readdirSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { AtPage, long } from './at-page.js'
import { hasBrowser, unfair } from './chromium.js'

/** What stands in a set's book from the page; the job itself is in `story.test.ts`. */
describe.skipIf(!hasBrowser)('a set beside its runs', () => {
  const at = new AtPage()

  it('proves a receiver: readings typed, what they show told, kept for the test record', async () => {
    const page = await at.open('#/prepare/book/receive-network.yaml')
    await page.getByLabel('Which proof').selectOption('receive')
    await page.getByText(/start at 100 µV, amplitude-modulated/).waitFor(long)
    const type = async (name: RegExp, value: string): Promise<void> => {
      await page.getByLabel(name).fill(value)
    }
    await type(/^frequency of generator and set/, '1 MHz')
    await type(/^level at the aerial terminals/, '50 µV')
    await type(/^audio volts with the signal/, '1 V')
    await type(/^audio volts with the carrier alone/, '2 V')
    await type(/^Read with/, 'signal generator; audio voltmeter')
    await page.getByRole('button', { name: 'Judge it and keep it' }).click()
    await page.getByText(/are the two the wrong way round/).waitFor(long)
    await type(/^audio volts with the carrier alone/, '0.1 V')
    await page.getByRole('button', { name: 'Judge it and keep it' }).click()
    await page.getByText(/^[●△✕] receive, /).waitFor(long)
    expect(await unfair(page)).toEqual([])
    await page
      .getByRole('cell', { name: /receive, hearing AM at 1 MHz/ })
      .first()
      .waitFor(long)
    expect((await at.linked(page, /test record/)).toString()).toMatch(/signal generator/)
  })

  it('takes a finding, a repair and a photograph, and gives them back whole', async () => {
    const page = await at.open('#/prepare/book/receive-network.yaml')
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
    const got = await page.request.get(at.address((await shown.getAttribute('src')) ?? ''))
    expect(Buffer.compare(await got.body(), picture)).toBe(0)
    await page
      .getByLabel('Photograph', { exact: true })
      .setInputFiles({ name: 'none.png', mimeType: 'image/png', buffer: Buffer.from('no picture') })
    await page.getByText('That is no photograph.').waitFor(long)
    expect(await unfair(page)).toEqual([])
    for (const words of [/book as one page/, /test record/])
      expect((await at.linked(page, words)).toString()).toMatch(/Measure before touching/)
    expect((await at.linked(page, /archive/)).includes(picture)).toBe(true)
    const books = readdirSync(at.place.folder).filter((name) => name.endsWith('.book'))
    expect(books).toHaveLength(1)
  })
})
