import { mkdirSync } from 'node:fs'
import { join } from 'node:path'
import Database from 'better-sqlite3'
import { describe, expect, it } from 'vitest'
import { runsDesk } from '../../src/cli/desk/runs.js'
import {
  capacitorCell,
  capacitorNames,
  closingClass,
  endedAs,
  exports,
  measuredAt,
  outputsOf,
  replayedAs,
} from '../../src/console/review/words.js'
import { createRunFile, type RunEntry } from '../../src/record/index.js'
import { folder, smallRun } from '../helpers/runs.js'

const runs = folderOf()
function folderOf() {
  return (entries: readonly RunEntry[]) => {
    const at = folder()
    mkdirSync(join(at, 'runs'))
    const file = join(at, 'runs', 'a.slowglow')
    const writer = createRunFile(file, { fsync: false })
    writer.append(entries)
    writer.close()
    const desk = runsDesk({ folder: at, runs: join(at, 'runs'), elsewhere: [], env: { XDG_STATE_HOME: at } })
    return { file, desk }
  }
}

describe('what the page is told of a run', () => {
  it('that was interrupted: that everything is to be taken as on', async () => {
    const { desk } = runs(smallRun().slice(0, -1))
    const { closing, under_way, standing } = await desk.run({ run: 'a' })
    expect({ under_way, standing }).toEqual({ under_way: false, standing: 'whole' })
    expect(closing[0]).toMatch(/^INTERRUPTED/)
    expect(closing[1]).toMatch(/take every output as on and every capacitor as charged/)
    expect(closing.map(closingClass).slice(0, 2)).toEqual(['finding', 'finding'])
  })

  it('that ended: its closing words, and nothing of an interruption', async () => {
    const { desk } = runs(smallRun())
    const { closing } = await desk.run({ run: 'a' })
    expect(closing[0]).toMatch(/^TRIPPED/)
    expect(closing.join()).not.toContain('INTERRUPTED')
    expect(closingClass(closing[0] ?? '', 0)).toBe('first')
  })

  it('whose seal lacks its last links: that it is a finding', async () => {
    const { desk, file } = runs(smallRun())
    expect(await desk.seal({ run: 'a' })).toMatchObject({ is: 'whole', finding: false })
    const db = new Database(file)
    db.exec('DELETE FROM chain')
    db.close()
    expect(await desk.seal({ run: 'a' })).toMatchObject({ is: 'open', finding: true })
  })

  it('that is damaged: a file to take away says in its name that it is not whole', async () => {
    const { desk, file } = runs(smallRun())
    expect((await desk.export({ run: 'a', format: 'csv' })).name).toBe('a.csv')
    const db = new Database(file)
    db.exec('UPDATE block_data SET data = zeroblob(3) WHERE stream = 1 AND block = 0')
    db.close()
    expect((await desk.export({ run: 'a', format: 'csv' })).name).toBe('a-NOT-WHOLE.csv')
  })
})

describe('a run in the page’s list', () => {
  it('is never confirmed off with a knob left open, and none that was nobody’s to confirm is', () => {
    const off = { outputs_off: 'confirmed', nothing_to_confirm: false, hands_open: [] as string[] } as const
    expect(outputsOf(off)).toEqual({ words: ['confirmed off'], open: false })
    expect(outputsOf({ ...off, hands_open: ['mains'] })).toEqual({
      words: ['confirmed off', 'mains NOT confirmed off by you'],
      open: true,
    })
    expect(outputsOf({ ...off, outputs_off: 'not confirmed', nothing_to_confirm: true })).toEqual({
      words: ['none here was slowglow’s to confirm'],
      open: false,
    })
    expect(outputsOf({ ...off, outputs_off: 'not known' })).toEqual({
      words: ['not known to be off'],
      open: true,
    })
  })

  it('completed with warnings where it had any', () => {
    expect(endedAs({ outcome: 'completed', warnings: 2 })).toBe('completed, with warnings')
    expect(endedAs({ outcome: 'completed', warnings: 0 })).toBe('completed')
    expect(endedAs({ outcome: 'tripped', warnings: 2 })).toBe('tripped')
  })
})

describe('a replay on the page', () => {
  it('says of a record that it could not follow no more than that', () => {
    expect(replayedAs({ agrees: true, difference: null })).toContain('same decisions')
    expect(replayedAs({ agrees: false, difference: null })).toContain('could not be followed')
    expect(replayedAs({ agrees: false, difference: { t_s: 1 } })).toContain('another way')
  })
})

describe('a figure on the page that another is held against', () => {
  it('has the volts that it was measured at', () => {
    expect(measuredAt(0.012, 250)).toBe('12.0 mA at 250.0 V')
    expect(measuredAt(0.012, null)).toBe('12.0 mA at volts not read')
    expect(measuredAt(null, 250)).toBe('– mA')
  })

  it('and a capacitor its verdict, leakage and capacitance, where a run judged it', () => {
    const formed = {
      ...{ run: 'a', reformed: true, why: '' },
      leakage: { C1: { amps: 120e-6, volts: 300, verdict: 'good' as const } },
      capacitance: { C1: 16e-6 },
    }
    expect(capacitorNames([formed])).toEqual(['C1'])
    expect(capacitorCell(formed, 'C1')).toBe('good: 0.12 mA at 300.0 V, 16 µF')
    expect(capacitorCell(formed, 'C2')).toBe('')
    expect(capacitorCell({ ...formed, capacitance: 'not judged' }, 'C1')).toContain(
      'capacitance not measured',
    )
  })
})

describe('what is taken away from the page', () => {
  it('is named for what it holds: readings alone in tables, events too in lines', () => {
    for (const [format, words] of exports) expect(/event/.test(words)).toBe(format === 'jsonl')
  })
})
