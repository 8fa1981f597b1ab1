// What a test file finds under the name `vitest` while mutants are tried: its tests are collected once, as functions, and any of them
// can then be run again and again in the same process. `expect` and `vi` are vitest's own.

/**
 * @typedef {{ up: Suite | null, name: string, skip: boolean, hooks: Record<'beforeAll' | 'afterAll' | 'beforeEach' | 'afterEach', (() => unknown)[]> }} Suite
 * @typedef {{ id: string, file: string, suites: Suite[], fn: () => unknown, skip: boolean }} Test
 */

const suiteOf = (up, name, skip) => ({
  up,
  name,
  skip: skip || (up?.skip ?? false),
  hooks: { beforeAll: [], afterAll: [], beforeEach: [], afterEach: [] },
})

export class Collected {
  /** @type {Test[]} */
  tests = []
  /** @type {Suite} */
  suite = suiteOf(null, '', false)
  file = ''
  /** Of its tests so far: with it their names are their own. */
  count = 0
  /** Called when the test that runs is over. */
  finished = []

  /** Each file begins with a suite of its own. */
  begin(file) {
    this.file = file
    this.count = 0
    this.suite = suiteOf(null, '', false)
  }

  /** The names that test files import. */
  names(expect, vi) {
    const it = this.#each((name, fn, skip) => this.#test(name, fn, skip))
    const describe = this.#each((name, fn, skip) => this.#describe(name, fn, skip))
    const hook = (kind) => (fn) => {
      this.suite.hooks[kind].push(fn)
    }
    const hooks = Object.fromEntries(['beforeAll', 'afterAll', 'beforeEach', 'afterEach'].map((kind) => [kind, hook(kind)]))
    const onTestFinished = (fn) => {
      this.finished.push(fn)
    }
    return { it, test: it, describe, ...hooks, onTestFinished, expect, vi }
  }

  /** Runs one test with its hooks. `entered` holds the suites whose beforeAll has run. Returns what it threw, or null. */
  async run(test, entered) {
    this.finished = []
    let failure = null
    const attempt = async (fn) => {
      try {
        await fn()
      } catch (error) {
        failure ??= error instanceof Error ? error : new Error(String(error))
      }
    }
    for (const suite of test.suites) {
      if (entered.has(suite)) continue
      entered.add(suite)
      for (const fn of suite.hooks.beforeAll) await attempt(fn)
    }
    for (const { hooks } of test.suites) for (const fn of hooks.beforeEach) await attempt(fn)
    if (failure === null) await attempt(test.fn)
    for (const { hooks } of test.suites.toReversed()) for (const fn of hooks.afterEach) await attempt(fn)
    for (const fn of this.finished) await attempt(fn)
    return failure
  }

  async leave(entered) {
    for (const { hooks } of entered)
      for (const fn of hooks.afterAll) {
        try {
          await fn()
        } catch {
          // What cannot be cleared away after a mutant is nobody's finding.
        }
      }
    entered.clear()
  }

  #test(name, fn, skip) {
    const suites = []
    for (let suite = this.suite; suite !== null; suite = suite.up) suites.unshift(suite)
    const full = [...suites.map((suite) => suite.name), name].filter((part) => part !== '').join(' > ')
    this.tests.push({ id: `${this.file}#${this.count++} ${full}`, file: this.file, suites, fn, skip: skip || this.suite.skip })
  }

  #describe(name, fn, skip) {
    const outer = this.suite
    this.suite = suiteOf(outer, name, skip)
    fn()
    this.suite = outer
  }

  /** `it` and `describe` alike: plain, each, skipIf, runIf. Options and times given between name and function, or behind it, are passed over. */
  #each(add) {
    const of = (skip) => {
      const one = (name, ...rest) => {
        add(String(name), rest.find((part) => typeof part === 'function') ?? (() => undefined), skip)
      }
      one.each = (rows) => (name, ...rest) => {
        const fn = rest.find((part) => typeof part === 'function')
        for (const [n, row] of [...rows].entries())
          add(`${name} (${n})`, () => (Array.isArray(row) ? fn(...row) : fn(row)), skip)
      }
      return one
    }
    const each = of(false)
    each.skip = of(true)
    each.skipIf = (condition) => of(Boolean(condition))
    each.runIf = (condition) => of(!condition)
    return each
  }
}
