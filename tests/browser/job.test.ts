import { readFileSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'
import { answerToTheEnd, answerUntil, AtPage, long, start } from './at-page.js'
import { hasBrowser, sticksOut, unfair } from './chromium.js'

describe.skipIf(!hasBrowser)('the page with its service', () => {
  const at = new AtPage()

  it('takes a job from a file dropped in to its report', async () => {
    const page = await at.open('#/prepare')
    const text = readFileSync(join(at.place.folder, 'receive-network.yaml'), 'utf8').replace(
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
    expect(await answerToTheEnd(page)).toMatch(/^● Completed/)
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
    await page.getByText('Replaced nothing.').first().waitFor(long)
    await page.getByRole('button', { name: 'Replay', exact: true }).click()
    await page.getByText('The same decisions.').waitFor(long)
    expect((await at.linked(page, /Report/)).toString()).toContain('The evening')
  })

  it('trips at a fault put in, says what of it was measured, and parts its causes by one more reading', async () => {
    const page = await at.open('#/energise')
    await start(page, 'receive-network.yaml', {
      fault: 'C5:leaky=500k@HT>100V',
      warned: /NOT SHOWN IN TIME/,
      under: /never shown|shown in step/,
    })
    expect(await answerToTheEnd(page)).toMatch(/tripped/i)
    await page.getByText('not measured: take it as charged').first().waitFor()
    expect(await unfair(page)).toEqual([])

    await page.getByRole('link', { name: 'Look at this run in Review' }).click()
    await page.getByRole('button', { name: 'Rank the causes of what was measured' }).click(long)
    const likeliest = page.locator('.ranked li').first()
    await likeliest.waitFor(long)
    // A leak to a grid draws what a gassy tube, a shorted cathode capacitor and others draw too; which of them stands for all
    // hangs on the moment at which the run tripped.
    const alone = await likeliest.textContent()
    expect(alone).toMatch(/C5.* cannot be told from .* and \d+ more|cannot be told from .*C5:.* and \d+ more/)
    await page.locator('.drawing .mark-words', { hasText: 'next reading' }).first().waitFor(long)
    await page.locator('.drawing .mark-words', { hasText: 'suspect 1' }).first().waitFor(long)
    await page.locator('.causes').screenshot({ path: 'docs/causes.png' })
    expect(await unfair(page)).toEqual([])

    await page.getByRole('heading', { name: /^Next: ohms at / }).waitFor()
    const next = page.getByLabel(/reads, with its unit/)
    const again = page.getByRole('button', { name: 'Rank again with it' })
    expect(await again.isDisabled()).toBe(true)
    await next.fill('nonsense')
    await again.click()
    await page.getByText(/neither volts nor ohms/).waitFor(long)
    await next.fill('450')
    await again.click()
    await page.getByText('Choose what 450 is in: nothing is taken without its unit.').waitFor()
    const told = await page
      .getByRole('listitem')
      .filter({ hasText: /Ω: .*C5 (leaks|shorted)/ })
      .first()
      .textContent()
    const [, reads = ''] = /^(.*?Ω): /.exec(told ?? '') ?? []
    await next.fill(reads)
    await again.click()
    const taken = page
      .getByRole('listitem')
      .filter({ has: page.getByRole('button', { name: 'Leave it out' }) })
    await taken.waitFor(long)
    expect(await taken.textContent()).toContain(`=${reads}`)
    // Far fewer are left that cannot be told from it.
    const parted = await likeliest.textContent()
    expect(parted).toMatch(/C5 (leaks|shorted)/)
    expect(parted).not.toMatch(/and \d+ more/)
    await page.getByRole('button', { name: 'Leave it out' }).click()
    await taken.waitFor({ ...long, state: 'detached' })
    expect(await likeliest.textContent()).toBe(alone)
    await page.getByRole('link', { name: 'Review', exact: true }).click()
    await page.getByRole('region', { name: 'Runs' }).waitFor(long)
    expect(await unfair(page)).toEqual([])
  })

  it('is stopped by a key at either of two viewers, and both see it done', async () => {
    const [page, other] = [await at.open('#/energise'), await at.open('#/prepare')]
    await start(page, 'receive.yaml')
    await other.getByRole('button', { name: /STOP/ }).waitFor(long)
    await other.getByText('2 viewers').waitFor()
    await answerUntil(page, async () => (await page.locator('.rail').count()) > 0)
    // From within a text, on another place.
    await other.getByRole('link', { name: 'Files', exact: true }).click()
    await other.getByRole('textbox', { name: /Text of/ }).click(long)
    await other.keyboard.press('Escape')
    const ending = await answerToTheEnd(page)
    for (const each of [page, other])
      await each
        .locator('main')
        .getByText(/key\): done\. Outputs measured off\. Measure before touching\./)
        .waitFor(long)
    expect(ending).toMatch(/stopped/i)
  })

  it('shows what is wrong in the text where it is, offers words, and opens a limit to its reason', async () => {
    const page = await at.open('#/prepare/files/receive.yaml')
    const text = page.getByRole('textbox', { name: /Text of receive\.yaml/ })
    await text.click(long)
    await page.keyboard.press('Control+End')
    await page.keyboard.type('\nnonsense: 3\n')
    await page.getByText(/^✕ \d+ errors?/).waitFor(long)
    await page.locator('.cm-lint-marker-error').first().waitFor(long)
    await page
      .getByText(/receive\.yaml:\d+:\d+/)
      .first()
      .waitFor(long)
    expect(await unfair(page)).toEqual([])
    await page.keyboard.type('pro')
    await page.keyboard.press('Control+Space')
    await page.locator('.cm-tooltip-autocomplete li').first().waitFor(long)
    await page.keyboard.press('Enter')
    await page.getByRole('button', { name: 'Back to what is written' }).click()

    await page.goto(at.address('#/prepare/plan/receive-network.yaml'))
    const trip = page.locator('table.steps td details').filter({ hasText: 'healthy sets stay below' }).first()
    await trip.locator('summary').click(long)
    await trip.getByText(/^trip .*999 of 1000 healthy sets stay below/).waitFor(long)
    await trip.getByText(/Source:/).waitFor(long)
    for (const section of ['Rails', 'What a fault lets through at worst', 'Handbook charts', 'Going off'])
      await page.getByRole('heading', { name: section, exact: true }).waitFor(long)
    await page.goto(at.address('#/prepare/cold/receive-network.yaml'))
    const reading = page.getByLabel('Reading, with its unit').first()
    await reading.waitFor(long)
    expect(await reading.getAttribute('inputmode')).toBe('decimal')
  })

  it('lays two runs over each other, follows the set over its runs, judges anew and takes away', async () => {
    const page = await at.open('#/review')
    const runs = page.getByRole('region', { name: 'Runs' }).getByRole('link')
    await runs.nth(1).waitFor(long)
    await runs.nth(0).click()
    await page.locator('.chart canvas').first().waitFor(long)
    await page.getByText('The limits are those that were in force at each moment').waitFor(long)
    const currents = await page.locator('.chart canvas').count()
    await page.getByText('Volts, and what the meters read').click()
    await expect.poll(() => page.locator('.chart canvas').count(), long).toBeGreaterThan(currents)
    expect(await unfair(page)).toEqual([])
    const other = page.getByLabel('Lay another run over it')
    await other
      .locator('option')
      .nth(1)
      .waitFor({ state: 'attached', ...long })
    // Turned away once, because too many questions waited: the page asks again by itself.
    let away = 0
    const error = { code: 'busy', what: 'Too many wait.', remedy: null, where: null, problems: [] }
    await page.route(
      '**/api/compare?*',
      async (route) => {
        away += 1
        await route.fulfill({ status: 503, json: { error } })
      },
      { times: 1 },
    )
    await other.selectOption({ index: 1 })
    await page.getByRole('heading', { name: 'This run and the other' }).waitFor(long)
    expect(away).toBe(1)
    expect(await unfair(page)).toEqual([])
    await page.getByLabel('Judged by').selectOption('receive.yaml')
    await page.getByRole('button', { name: 'Replay', exact: true }).click()
    await page.getByText(/^(● The same decisions|▲ It would have gone another way)\./).waitFor(long)
    for (const link of await page.locator('a[download]').all()) {
      const got = await page.request.get(at.address((await link.getAttribute('href')) ?? ''))
      expect(got.status()).toBe(200)
      expect((await got.body()).length).toBeGreaterThan(100)
    }
    await page.goto(at.address('#/review'))
    await page.getByRole('heading', { name: 'A set over its runs' }).waitFor(long)
    await page.locator('a[href*="trend"]').first().click()
    await page.getByRole('region', { name: 'What each rail drew, run by run' }).waitFor(long)
    expect(await unfair(page)).toEqual([])
  })

  it('rehearses in the page with a fault at a moment of one’s choice', async () => {
    const page = await at.open('#/prepare/rehearse/receive-network.yaml')
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
    // And with a limit changed by hand: what it would do.
    const hand = page.getByLabel(/^Trip of HT by hand/)
    await hand.fill('none')
    await page.getByRole('button', { name: 'Rehearse again' }).click()
    await page.getByText(/"none" is no limit/).waitFor()
    await page.getByRole('button', { name: /^take out/ }).click()
    await hand.fill('0.5')
    await page.getByRole('button', { name: 'Rehearse again' }).click()
    await page.getByText(/With these limits there is no plan: HT should draw/).waitFor(long)
    await hand.fill('100')
    await page.getByRole('button', { name: /^Rehearse/ }).click()
    await page.getByText('Rehearsed: completed.').waitFor(long)
  })

  it('is fair and fits on every other screen, at a phone’s width too', async () => {
    const page = await at.open('#/prepare/plan/receive-network.yaml')
    for (const [where, ready] of [
      ['#/prepare/plan/receive-network.yaml', 'Hook-up'],
      ['#/prepare/set/receive-network.yaml', 'What hangs on it'],
      ['#/prepare/cold/receive-network.yaml', 'Cold checks of'],
      ['#/prepare/coverage/receive-network.yaml', 'What was tried'],
      ['#/prepare/book/receive-network.yaml', 'All of it, in order'],
      ['#/prepare/aerial/receive-network.yaml', 'Aerial sheet'],
      ['#/prepare/bench/receive-network.yaml', 'Qualification'],
      ['#/prepare/new/receive-network.yaml', 'A new set'],
      ['#/review', 'Runs'],
      ['#/energise', 'Another run'],
    ] as const) {
      await page.goto(at.address(where))
      await page.getByRole('heading', { name: ready }).first().waitFor(long)
      for (const width of [1280, 320]) {
        await page.setViewportSize({ width, height: 900 })
        await expect.poll(() => sticksOut(page), { message: `${where} at ${width}` }).toBeLessThanOrEqual(0)
      }
      expect(await unfair(page), where).toEqual([])
    }
    await page.emulateMedia({ media: 'print' })
    expect(await page.locator('header.top nav').isVisible()).toBe(false)
  })

  it('comes back by itself when the service was started anew', async () => {
    const page = await at.open('#/energise')
    await page.locator('main[data-connection=live]').waitFor()
    await at.served.end()
    await page.getByText(/^✕ Stale since/).waitFor()
    await at.again()
    await page.locator('main[data-connection=live]').waitFor(long)
  })

  it('says that outputs may be on when the service was lost in the middle of a run, and still after a reload', async () => {
    const page = await at.open('#/energise')
    await start(page, 'receive.yaml')
    await page.getByRole('button', { name: /STOP/ }).waitFor(long)
    // The stop stands beside the cautions too: what a run asks is asked once its bench is written down as in use.
    await page.locator('section.question').waitFor(long)
    await at.served.kill()
    await page.getByText(/A run was under way and may go on/).waitFor(long)
    await at.again()
    await page.locator('main[data-connection=live]').waitFor(long)
    await page.getByText(/Take its outputs as on/).waitFor(long)
    await page.reload()
    // No alarm, since the bench is a virtual one; told all the same.
    await page
      .getByText(/Found at .*A run was left without its end .*MAY BE ON, a virtual bench/)
      .waitFor(long)
    expect(await unfair(page)).toEqual([])
  })
})
