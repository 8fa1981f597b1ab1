import { mkdtempSync, rmSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import type { Browser } from 'playwright-core'
import { afterAll, beforeAll, describe, expect, it } from 'vitest'
import { planFiles } from '../../src/cli/plan-files.js'
import { reportPage } from '../../src/cli/report/page.js'
import { createRunFile, readRun, storyOf } from '../../src/record/index.js'
import { known, smallRun } from '../helpers/runs.js'
import { hasBrowser, openBrowser } from './chromium.js'

/** Paper less 15 mm at each side, in px of 1/96 inch. */
const papers = [
  ['A4', 210],
  ['Letter', 215.9],
] as const
const inside = (wide_mm: number): number => Math.floor(((wide_mm - 30) / 25.4) * 96)

describe.skipIf(!hasBrowser)('a report on paper', () => {
  let browser: Browser
  beforeAll(async () => {
    browser = await openBrowser()
  })
  afterAll(async () => {
    await browser.close()
  })

  it.each(papers)('has no column cut off on %s', async (format, wide_mm) => {
    const context = await browser.newContext({ viewport: { width: inside(wide_mm), height: 1000 } })
    const page = await context.newPage()
    await page.emulateMedia({ media: 'print' })
    await page.setContent(report())
    const cut = await page.evaluate<string[]>(`(() => {
      const right = document.documentElement.clientWidth + 0.5
      return [...document.querySelectorAll('td, th, svg, pre, li, dd, p')]
        .filter((each) => each.getBoundingClientRect().right > right || each.scrollWidth > each.clientWidth + 1)
        .map((each) => each.outerHTML.slice(0, 120))
    })()`)
    expect(cut.slice(0, 5)).toEqual([])
    const pdf = (await page.pdf({ format, preferCSSPageSize: false })).toString('latin1')
    expect(pdf.match(/\/Type \/Page\b/g)?.length ?? 0).toBeGreaterThan(3)
    await context.close()
  })
})

/** The demo's whole plan, longest tables and all, over a small run. */
function report(): string {
  const { plan, files } = planFiles('profiles/tern-rock/receive.yaml', undefined, process.cwd())
  if (plan === null) throw new Error('the demo has no plan')
  const at = mkdtempSync(join(tmpdir(), 'slowglow-print-'))
  try {
    const path = join(at, 'a.slowglow')
    const writer = createRunFile(path, { fsync: false })
    writer.append([{ entry: 'known', known: { ...known, plan, files } }, ...smallRun().slice(1)])
    writer.close()
    const read = readRun(path, (reader) => reportPage(reader, storyOf(reader)))
    if ('trouble' in read) throw new Error(read.trouble)
    return read.value
  } finally {
    rmSync(at, { recursive: true })
  }
}
