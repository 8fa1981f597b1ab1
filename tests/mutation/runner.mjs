// A runner of tests for Stryker: source and tests are loaded once, and each mutant only switched on. That makes a mutant cost
// milliseconds where a run of vitest for each costs seconds of a core, so that a room can be done at all.
//
// What is called killed was confirmed: the test that failed is run again at once without the mutant and must pass; where it does not
// (something was left behind by a mutant), everything is loaded anew and the mutant tried once more.
//
// Tests go in the order of how likely they kill for what they cost: those that killed a mutant near by first, those that come by what few
// others come by near it (a condition is noticed by whoever goes where it leads), and quick ones before slow ones. A
// mutant gets `most_ms` of the processor for its tests; one that lives so long counts as surviving although a later test might have killed it.
import { appendFileSync, existsSync, readFileSync, writeFileSync } from 'node:fs'
import { relative, resolve } from 'node:path'
import { performance } from 'node:perf_hooks'
import { createServer, createServerModuleRunner } from 'vite'
import { Collected } from './collect.mjs'
import { hashOf, isDrawn } from './rooms.mjs'
import { toldOf } from './told.mjs'

const files = (process.env.SLOWGLOW_MUTATION_TESTS ?? '').split(',').filter((file) => file !== '')
const most_ms = 1000 * Number(process.env.SLOWGLOW_MUTANT_S ?? 8)
/** Changes before and behind one that count as near it. */
const near_by = 60
/** Longer ones are left out. */
const longest_ms = 1000 * Number(process.env.SLOWGLOW_TEST_S ?? 3)
const setup = 'tests/setup.ts'
/** How long tests took, from run to run: one that is known to be too long is not begun. */
const kept = process.env.SLOWGLOW_MUTATION_KEPT ?? 'mutation-times.json'

/** One change in so many is tried. */
const part = Number(process.env.SLOWGLOW_MUTATION_PART ?? 1)

/** Of files that were tried before as they are: what no test noticed, in words. Everything else in them was noticed. */
const lived = new Map(Object.entries(JSON.parse(process.env.SLOWGLOW_MUTATION_LIVED ?? '{}')))
const livedBefore = ({ activeMutant: { location, mutatorName, replacement } }, file) => {
  const fromOne = ({ line, column }) => ({ line: line + 1, column: column + 1 })
  const { start, end } = location
  // Here every change is laid into the source: what it was stands where the runner was called.
  const source = readFileSync(resolve(process.env.SLOWGLOW_MUTATION_FROM ?? '.', file), 'utf8')
  const told = toldOf(source, { start: fromOne(start), end: fromOne(end) }, mutatorName, replacement)
  return lived.get(file).includes(told)
}

/** What was tried already, a line each, and the sources it was tried with (`FILE=HASH,…`): a run that was stopped goes on from there. */
const done_file = process.env.SLOWGLOW_MUTATION_DONE
const sources = new Map((process.env.SLOWGLOW_MUTATION_SOURCES ?? '').split(',').map((pair) => pair.split('=')))
/** A mutant that lived is tried again once there are other tests. */
const tests = hashOf(files)
const placeOf = ({ activeMutant: { location, mutatorName, replacement }, sandboxFileName }) => {
  const file = relative(process.cwd(), sandboxFileName)
  const { start, end } = location
  return { file, source: sources.get(file), at: [start.line, start.column, end.line, end.column], mutatorName, replacement }
}

/** Where Stryker's own changes to the source look. The object is kept by every changed module: only what it holds may change. */
const ns = (globalThis.__stryker__ ??= {})

class Together {
  static inject = ['options']
  collected = new Collected()
  /** How long each test took when nothing was changed, ms. */
  took = new Map()
  /** Tests that killed, newest first, with where the mutant was. */
  killers = []
  /** Tests that come by each change, by the change's number; those of one place have numbers near one another. */
  comers = new Map()
  /** How often each test was tried, how often it killed, and the processor's time that took, ms. */
  tries = new Map()
  loaded = null
  /** Results of an earlier run that was stopped, by what was changed. */
  done = new Map()
  /** Test files that cannot be loaded here. */
  unusable = new Set()

  capabilities() {
    return { reloadEnvironment: true }
  }

  async init() {
    process.env.NODE_ENV = 'test'
    process.env.VITEST = 'true'
    const { expect, vi } = await import('vitest')
    globalThis.__collected__ = () => this.collected.names(expect, vi)
    this.server = await createServer({
      root: process.cwd(),
      configFile: false,
      logLevel: 'error',
      appType: 'custom',
      server: { middlewareMode: true, hmr: false, ws: false, watch: null },
      optimizeDeps: { noDiscovery: true },
      ssr: { noExternal: ['vitest'] },
      plugins: [this.#collecting(), this.#countingOnlyAtFirst()],
    })
    this.modules = createServerModuleRunner(this.server.environments.ssr, { hmr: false })
    if (done_file !== undefined && existsSync(done_file))
      for (const line of readFileSync(done_file, 'utf8').split('\n')) {
        if (line === '') continue
        const { result, by, ...place } = JSON.parse(line)
        if (result.status !== 'survived' || by === tests) this.done.set(JSON.stringify(place), result)
      }
    if (existsSync(kept)) this.took = new Map(JSON.parse(readFileSync(kept, 'utf8')))
  }

  async dispose() {
    await this.modules?.close()
    await this.server?.close()
  }

  async dryRun() {
    await this.#load('counting')
    const tests = []
    const entered = new Set()
    for (const test of this.collected.tests) {
      const base = { id: test.id, name: test.id, fileName: resolve(test.file) }
      if (test.skip || (this.took.get(test.id) ?? 0) > longest_ms) {
        tests.push({ ...base, status: 2, timeSpentMs: 0 })
        continue
      }
      ns.currentTestId = test.id
      const from = performance.now()
      const failure = await this.collected.run(test, entered)
      ns.currentTestId = undefined
      const timeSpentMs = performance.now() - from
      this.took.set(test.id, timeSpentMs)
      if (timeSpentMs > longest_ms) {
        delete ns.mutantCoverage?.perTest[test.id]
        tests.push({ ...base, status: 2, timeSpentMs: 0 })
      } else if (failure === null) tests.push({ ...base, status: 0, timeSpentMs })
      else {
        // One that fails by itself, here where it may lack something, tells of no mutant.
        process.stderr.write(`left out: ${test.id}: ${failure.message.slice(0, 200)}\n`)
        this.took.set(test.id, Infinity)
        delete ns.mutantCoverage?.perTest[test.id]
        tests.push({ ...base, status: 2, timeSpentMs: 0 })
      }
    }
    await this.collected.leave(entered)
    for (const [test, by] of Object.entries(ns.mutantCoverage?.perTest ?? {}))
      for (const change of Object.keys(by)) this.comers.set(change, [...(this.comers.get(change) ?? []), test])
    writeFileSync(kept, JSON.stringify([...this.took].filter(([, ms]) => ms < Infinity)))
    if (process.env.SLOWGLOW_MUTATION_TIMES !== undefined) this.#tellTimes(tests)
    return { status: 'complete', tests, mutantCoverage: ns.mutantCoverage ?? { static: {}, perTest: {} } }
  }

  async mutantRun(options) {
    const place = placeOf(options)
    // What is not drawn is not counted: the rows are made from what was written down as done.
    if (!isDrawn(place, part)) return { status: 'survived', nrOfTests: 0 }
    if (lived.has(place.file) && !livedBefore(options, place.file))
      return { status: 'killed', killedBy: ['before'], failureMessage: 'noticed before', nrOfTests: 1 }
    const before = this.done.get(JSON.stringify(place))
    if (before !== undefined) return before
    const result = await this.#tried(options)
    const { failureMessage = '', ...told } = result
    const kept_result = { ...told, ...(failureMessage !== '' && { failureMessage: failureMessage.slice(0, 80) }) }
    if (done_file !== undefined)
      appendFileSync(done_file, `${JSON.stringify({ ...place, by: tests, result: kept_result })}\n`)
    return result
  }

  async #tried({ activeMutant, testFilter, hitLimit, mutantActivation, reloadEnvironment }) {
    // Stryker wants everything loaded anew for what some file also computes at load; where tests come by it too they are enough.
    const atLoad = mutantActivation === 'static' && testFilter === undefined
    ns.hitLimit = undefined
    ns.hitCount = undefined
    ns.activeMutant = atLoad ? activeMutant.id : undefined
    try {
      if (atLoad || (reloadEnvironment && testFilter === undefined) || this.loaded !== 'quick') await this.#load('quick')
    } catch (error) {
      this.loaded = null
      return { status: 'killed', killedBy: [], failureMessage: String(error), nrOfTests: 0 }
    }
    const chosen = this.#inOrder(activeMutant, testFilter)
    let spent_ms = 0
    let nrOfTests = 0
    ns.hitCount = 0
    ns.hitLimit = hitLimit
    for (const test of chosen) {
      if (spent_ms > most_ms) break
      const from = process.cpuUsage()
      const failure = await this.#with(activeMutant.id, test)
      const { user, system } = process.cpuUsage(from)
      spent_ms += (user + system) / 1000
      nrOfTests++
      const [tried, killed, ms] = this.tries.get(test.id) ?? [0, 0, 0]
      this.tries.set(test.id, [tried + 1, killed + (failure === null ? 0 : 1), ms + (user + system) / 1000])
      if (hitLimit !== undefined && ns.hitCount > hitLimit)
        return { status: 'timeout', reason: `run ${ns.hitCount} times` }
      if (failure === null) continue
      if (!atLoad && !(await this.#isKilled(activeMutant.id, test))) continue
      this.killers = [{ id: test.id, of: activeMutant }, ...this.killers.filter(({ id }) => id !== test.id)].slice(0, 40)
      return { status: 'killed', killedBy: [test.id], failureMessage: failure.message, nrOfTests }
    }
    return { status: 'survived', nrOfTests }
  }

  /** It passes without the mutant, here or freshly loaded, and does not pass with it. */
  async #isKilled(mutant, test) {
    if ((await this.#with(undefined, test)) === null) return true
    await this.#load('quick')
    const again = this.collected.tests.find(({ id }) => id === test.id)
    return again !== undefined && (await this.#with(undefined, again)) === null && (await this.#with(mutant, again)) !== null
  }

  async #with(mutant, test) {
    const entered = new Set()
    ns.activeMutant = mutant
    try {
      return await this.collected.run(test, entered)
    } finally {
      ns.activeMutant = undefined
      await this.collected.leave(entered)
    }
  }

  #inOrder({ id: mutant, fileName, location }, filter) {
    const wanted = filter === undefined ? null : new Set(filter)
    const near = new Map()
    for (const { id, of } of this.killers) {
      const lines = Math.abs(of.location.start.line - location.start.line)
      if (of.fileName === fileName) near.set(id, Math.max(near.get(id) ?? 0, 1 / (2 + lines)))
    }
    const time = ({ id }) => this.took.get(id) ?? 0
    const seldom = this.#seldomNear(Number(mutant))
    const worth = (test) => {
      const [tried, killed, ms] = this.tries.get(test.id) ?? [0, 0, 0]
      // What waits for something that never comes takes far longer to fail than to pass.
      const costs_ms = tried === 0 ? time(test) : ms / tried
      const goes = Math.min(0.9, seldom.get(test.id) ?? 0)
      return Math.max((killed + 0.5) / (tried + 2), near.get(test.id) ?? 0, goes) / (costs_ms + 2)
    }
    return this.collected.tests
      .filter((test) => !test.skip && time(test) <= longest_ms && (wanted === null || wanted.has(test.id)))
      .map((test) => ({ test, worth: worth(test) }))
      .toSorted((a, b) => b.worth - a.worth)
      .map(({ test }) => test)
  }

  /** Tests that come by changes near this one which few others come by, each counted by how few and how near. */
  #seldomNear(mutant) {
    const found = new Map()
    for (let other = mutant - near_by; other <= mutant + near_by; other++) {
      const comers = this.comers.get(String(other)) ?? []
      const counts = 1 / (comers.length * (1 + Math.abs(other - mutant) / 10))
      for (const test of comers) found.set(test, (found.get(test) ?? 0) + counts)
    }
    return found
  }

  async #load(how) {
    this.how = how
    this.loaded = null
    this.server.environments.ssr.moduleGraph.invalidateAll()
    this.modules.clearCache()
    this.collected = new Collected()
    await this.modules.import(resolve(setup))
    for (const file of files) {
      if (this.unusable.has(file)) continue
      this.collected.begin(file)
      const from = performance.now()
      try {
        await this.modules.import(resolve(file))
      } catch (error) {
        if (how !== 'counting') throw error
        process.stderr.write(`left out: ${file}: ${String(error).slice(0, 300)}\n`)
        this.unusable.add(file)
      }
      if (process.env.SLOWGLOW_MUTATION_TIMES !== undefined) process.stderr.write(`loaded ${file} ${Math.round(performance.now() - from)} ms\n`)
    }
    this.loaded = ns.activeMutant === undefined ? how : null
  }

  /** Test files get the names that collect, and fast-check does not look for a smaller case where one is enough. */
  #collecting() {
    return {
      name: 'collecting',
      enforce: 'pre',
      resolveId: (id) => (id === 'vitest' ? '\0collecting' : null),
      load: (id) =>
        id === '\0collecting'
          ? 'export const { it, test, describe, beforeAll, afterAll, beforeEach, afterEach, onTestFinished, expect, vi } = globalThis.__collected__()'
          : null,
      transform: (code, id) => {
        if (id.endsWith(setup)) return code.replace('configureGlobal({', 'configureGlobal({ endOnFailure: true,')
        // That a step leaves its input alone is held by every other run of the tests, and costs half of their time.
        return id.endsWith('/rig.ts') ? code.replace('freeze(this.state)', '') : null
      },
    }
  }

  /** Which test comes by which mutant is counted once; after that counting is only a burden. */
  #countingOnlyAtFirst() {
    return {
      name: 'counting only at first',
      enforce: 'pre',
      transform: (code) =>
        this.how === 'quick' && code.includes('function stryCov_')
          ? code.replace(/function stryCov_\w+\(\) \{/, '$& return;')
          : null,
    }
  }

  #tellTimes(tests) {
    const by = new Map()
    for (const { fileName, timeSpentMs, status } of tests) {
      const [n, ms, failed] = by.get(fileName) ?? [0, 0, 0]
      by.set(fileName, [n + 1, ms + timeSpentMs, failed + (status === 1 ? 1 : 0)])
    }
    for (const [file, [n, ms, failed]] of by) process.stderr.write(`${Math.round(ms)} ms ${n} tests ${failed} failed ${file}\n`)
  }
}

export const strykerPlugins = [{ kind: 'TestRunner', name: 'together', injectableClass: Together }]
