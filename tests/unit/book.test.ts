import {
  copyFileSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs'
import { tmpdir } from 'node:os'
import { join, resolve } from 'node:path'
import Database from 'better-sqlite3'
import { Command } from 'commander'
import { afterAll, beforeEach, describe, expect, it } from 'vitest'
import { appendToBook, type BookBody, coldChecksNow, readBook } from '../../src/book/index.js'
import { registerBook } from '../../src/cli/commands/book.js'
import { registerCheck } from '../../src/cli/commands/check.js'
import { registerPlan } from '../../src/cli/commands/plan.js'
import { registerRecordSheet } from '../../src/cli/commands/record-sheet.js'
import { registerWorksheet } from '../../src/cli/commands/worksheet.js'
import { ownMainsRail } from '../../src/equipment/index.js'
import type { Io } from '../../src/cli/io.js'
import { planFiles } from '../../src/cli/plan-files.js'
import { coldObjection, openBench, type Start, Stops, superviseRun } from '../../src/session/index.js'

const rock = resolve(import.meta.dirname, '../../profiles/tern-rock')
const dirs: string[] = []
afterAll(() => {
  for (const dir of dirs) rmSync(dir, { recursive: true, force: true })
})
let dir = ''
beforeEach(() => {
  dir = mkdtempSync(join(tmpdir(), 'slowglow-book-'))
  dirs.push(dir)
  for (const name of ['equipment.yaml', 'bench.yaml', 'receive.yaml'])
    copyFileSync(join(rock, name), join(dir, name))
})
const path = (): string => join(dir, 'equipment.book')

const endedWith = (): number => Number(process.exitCode ?? 0)

function run(...args: string[]): { readonly code: number; readonly out: string; readonly err: string } {
  const [out, err]: [string[], string[]] = [[], []]
  const io: Io = {
    out: (text) => void out.push(text),
    err: (text) => void err.push(text),
    ...{
      isTerminal: false,
      colour: false,
      cwd: dir,
      env: { USER: 'tester', SLOWGLOW_RUNS: join(dir, 'runs') },
    },
  }
  const program = new Command()
  const all = [registerBook, registerCheck, registerWorksheet, registerPlan, registerRecordSheet]
  for (const register of all) register(program, io)
  process.exitCode = undefined
  program.parse(['node', 'slowglow', ...args])
  const code = endedWith()
  process.exitCode = undefined
  return { code, out: out.join('\n'), err: err.join('\n') }
}

const metered = ['--meter', 'a meter'] as const
const at = '2026-11-29T08:00:00.000Z'
const note: BookBody = { kind: 'finding', text: 'dust', parts: [] }
const add = (...bodies: BookBody[]) =>
  appendToBook(
    path(),
    { at, by: 'me' },
    bodies.map((body) => ({ body })),
  )

describe('the book on disk', () => {
  it('a set without one has an empty one, and reading makes no file', () => {
    expect(readBook(path())).toMatchObject({ exists: false, entries: [] })
    expect(existsSync(path())).toBe(false)
  })
  it('keeps what is written in its order, over any number of writers', () => {
    add(note)
    add({ ...note, text: 'rust' }, { kind: 'serial', what: 'serial', number: '12' })
    const book = readBook(path())
    expect(book).toMatchObject({
      entries: [{ seq: 0, at, by: 'me', on: null, body: note }, { seq: 1 }, { seq: 2 }],
    })
  })
  it('is never rewritten: the database itself refuses', () => {
    add(note)
    const db = new Database(path())
    expect(() => db.exec("UPDATE entry SET body = '{}'")).toThrow('never rewritten')
    expect(() => db.exec('DELETE FROM entry')).toThrow('never rewritten')
    db.close()
  })
  it('says when it was changed by other means, takes nothing more, and keeps its set from power on any bench', () => {
    add(note, { ...note, text: 'rust' })
    const db = new Database(path())
    db.exec("DROP TRIGGER entry_stays; UPDATE entry SET body = replace(body, 'dust', 'gold') WHERE seq = 0")
    db.close()
    expect(readBook(path())).toEqual({ trouble: expect.stringContaining('entry 1 does not fit') as string })
    expect(add(note)).toHaveProperty('trouble')
    const { plan, parts } = planFiles('receive.yaml', undefined, dir)
    if (plan === null || parts === null) throw new Error('planned')
    expect(plan.cold_checks?.blocks).toMatchObject([{ why: 'book' }])
    expect(coldObjection(plan)?.what).toContain('changed by other means')
  })
  it.each([
    ['no database', 'this is no database, and it is long enough to look at'.repeat(20)],
    ['a cut one', null],
  ])('%s is told in a sentence', (_, text) => {
    add(note)
    writeFileSync(path(), text ?? readFileSync(path()).subarray(0, 1500))
    expect(readBook(path())).toHaveProperty('trouble')
  })
  it('all of an append or none: what cannot stand in a book takes the rest with it', () => {
    add(note)
    expect(add(note, { ...note, text: '' })).toHaveProperty('trouble')
    expect(readBook(path())).toMatchObject({ entries: { length: 1 } })
  })
  it('refuses what was decided on an older state of it', () => {
    add(note)
    expect(appendToBook(path(), { at, by: 'me', expects: 0 }, [{ body: note }])).toHaveProperty('trouble')
    expect(readBook(path())).toMatchObject({ entries: { length: 1 } })
  })
  it('an empty file, left from an append that never came to its end, is an empty book', () => {
    writeFileSync(path(), '')
    expect(readBook(path())).toMatchObject({ entries: [] })
    expect(add(note)).toHaveProperty('added')
  })
})

describe('slowglow worksheet', () => {
  it('prints the sheet, takes readings in any order, and judges them', () => {
    const sheet = run('worksheet', 'equipment.yaml')
    expect(sheet.code).toBe(0)
    expect(sheet.out).toContain('[ ] chain G (must be taken)')
    expect(sheet.out).not.toContain('safe to touch')
    const kept = run(
      'worksheet',
      'receive.yaml',
      '--record',
      'chain g=3 Ω',
      '--record',
      'look dust=good',
      '--meter',
      'bench meter',
    )
    expect(kept.code).toBe(0)
    expect(kept.out).toContain('chain G: 3 Ω; wanted: 1.94 Ω to 5.19 Ω.')
    const bad = run('worksheet', 'equipment.yaml', ...metered, '--record', 'R50=1k', '--json')
    expect(bad.code).toBe(1)
    expect(JSON.parse(bad.out)).toMatchObject({ kept: [{ item: 'R50', verdict: 'out of range' }] })
    expect(readBook(path())).toMatchObject({
      entries: [{ by: 'tester', body: { meter: 'bench meter' } }, {}, {}],
    })
  })
  it('keeps nothing where one of them cannot be understood', () => {
    for (const slip of ['chain Q=3 Ω', 'chain G=3', 'chain G', '=3 Ω']) {
      const { code, err } = run('worksheet', 'equipment.yaml', ...metered, '--record', 'R50=46k', slip)
      expect(code, slip).toBe(2)
      expect(err, slip).toContain('Nothing was kept.')
    }
    expect(existsSync(path())).toBe(false)
  })
  it('keeps no reading that nobody says a meter of; a look needs none', () => {
    const { code, err } = run('worksheet', 'equipment.yaml', '--record', 'look dust=good', 'R50=46k')
    expect(code).toBe(2)
    expect(err).toContain('Nothing says which meter R50 was read with. Nothing was kept.')
    expect(existsSync(path())).toBe(false)
    expect(run('worksheet', 'equipment.yaml', '--record', 'look dust=good').code).toBe(0)
  })
  it('prints a paper sheet, and never over another', () => {
    expect(run('worksheet', 'equipment.yaml', '--paper', 'sheet.html').code).toBe(0)
    const html = readFileSync(join(dir, 'sheet.html'), 'utf8')
    expect(html).toContain('chassis bond *')
    expect(run('worksheet', 'equipment.yaml', '--paper', 'sheet.html')).toMatchObject({ code: 2 })
  })
})

describe('slowglow book', () => {
  it('keeps a life: description, numbers, findings, parts replaced; printed and exported whole', () => {
    writeFileSync(join(dir, 'front.png'), Buffer.from('89504e470d0a1a0a0000000d49484452', 'hex'))
    run('book', 'equipment.yaml', '--describe', 'grey case', '--serial', 'serial=1234', '--by', 'keeper')
    run('book', 'equipment.yaml', '--photo', 'front.png', '--caption', 'front <1953>')
    run('book', 'equipment.yaml', '--finding', 'wax below C17', '--part', 'C17')
    run(
      'book',
      'equipment.yaml',
      '--replaced',
      'C17',
      '--was',
      '10 nF paper',
      '--now',
      '10 nF film',
      '--on',
      '2026-11-01',
    )
    const { code, out } = run('book', 'equipment.yaml', '--html', 'book.html', '--export', 'book.tar')
    expect(code).toBe(0)
    expect(out).toContain('replaced, tester: C17: was 10 nF paper, now 10 nF film (done on 2026-11-01)')
    const html = readFileSync(join(dir, 'book.html'), 'utf8')
    expect(html).toContain('data:image/png;base64,')
    expect(html).toContain('front &#60;1953&#62;')
    const tar = readFileSync(join(dir, 'book.tar'))
    expect(tar.length % 512).toBe(0)
    const names: string[] = []
    for (let i = 0; i < tar.length && tar[i] !== 0; ) {
      names.push(tar.toString('utf8', i, tar.indexOf(0, i)))
      i += 512 * (1 + Math.ceil(parseInt(tar.toString('latin1', i + 124, i + 135), 8) / 512))
    }
    expect(names).toEqual([
      'book.html',
      'worksheet.html',
      'test-record.html',
      'book.json',
      'equipment.yaml',
      'equipment.book',
      'photographs/0003-front.png',
    ])
    expect(run('book', 'equipment.yaml', '--export', 'book.tar').code).toBe(2)
  })
  it('names what an archive could not take, and takes no run of a set that is only called the same', () => {
    const body: BookBody = {
      ...{ kind: 'run', run: 'gone', file: join(dir, 'runs', 'gone.slowglow'), profile: 'receive' },
      ...{ bench_kind: 'virtual', outcome: 'completed', outputs_off: 'confirmed', reason: null, seal: null },
    }
    add(body, { kind: 'replaced', part: 'C17', was: 'paper', now: 'film', text: '' })
    const { code, out } = run('book', 'equipment.yaml', '--export', 'lost.tar')
    expect(code).toBe(0)
    expect(out).toContain('Not in the archive: run gone: not found where the book says')
    expect(readFileSync(join(dir, 'lost.tar'), 'latin1')).toContain('missing.txt')
    run('record-sheet', 'equipment.yaml', '--out', 'record.html')
    const sheet = readFileSync(join(dir, 'record.html'), 'utf8')
    expect(sheet).toContain('its run file is not found, or cannot be read')
    expect(sheet).toContain('replaced: C17: was paper, now film')
  })
  it('refuses what says too little, and what is no photograph', () => {
    writeFileSync(join(dir, 'notes.txt'), 'no picture')
    for (const args of [
      ...[
        ['--replaced', 'C17'],
        ['--part', 'C17'],
        ['--serial', '1234'],
        ['--photo', 'notes.txt'],
        ['--photo', 'absent.jpg'],
      ],
      ...[
        ['--waive', 'R50'],
        ['--waive', 'R50', '--because', 'ok'],
        ['--waive', 'R999', '--because', 'it has always been so'],
      ],
    ])
      expect(run('book', 'equipment.yaml', ...args).code, args.join(' ')).toBe(2)
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'R50=46k')
    expect(run('book', 'equipment.yaml', '--waive', 'R50', '--because', 'it has always been so').code).toBe(2)
    expect(
      run('book', 'equipment.yaml', '--waive', 'charge reservoir', '--because', 'it has always been so').code,
    ).toBe(1)
  })
})

describe('a set whose file is renamed', () => {
  const rename = (): void => {
    copyFileSync(join(dir, 'equipment.yaml'), join(dir, 'rock.yaml'))
    rmSync(join(dir, 'equipment.yaml'))
  }
  it('is told of the book that no file goes by, and gets no power without it', () => {
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'R50=1k')
    const set = start().prepared.equipment
    rename()
    const { code, err } = run('book', 'rock.yaml')
    expect(code).toBe(6)
    expect(err).toContain('was the file renamed? If that is its book, write id: equipment into')
    for (const args of [
      ['worksheet', 'rock.yaml'],
      ['record-sheet', 'rock.yaml'],
    ])
      expect(run(...args).code, args.join(' ')).toBe(6)
    const equipment = join(dir, 'rock.yaml')
    expect(coldChecksNow({ rails: {}, bench_kind: 'virtual' }, set, equipment).blocks).toMatchObject([
      { why: 'book' },
    ])
    expect(run('book', 'rock.yaml', '--book', 'equipment.book').out).toContain('R50: 1k, out of range')
  })
  it('finds its book by the id that it states, and another set beside it has its own', () => {
    const sheet = readFileSync(join(dir, 'equipment.yaml'), 'utf8')
    writeFileSync(join(dir, 'equipment.yaml'), sheet.replace(/^name:/m, 'id: rock 1\nname:'))
    run('book', 'equipment.yaml', '--finding', 'dust')
    expect(existsSync(join(dir, 'rock 1.book'))).toBe(true)
    writeFileSync(join(dir, 'other.yaml'), sheet)
    expect(run('book', 'other.yaml').out).toContain('Nothing is written in it yet')
    rename()
    expect(run('book', 'rock.yaml').out).toContain('dust')
  })
  it('a book begun before the id was written goes on', () => {
    run('book', 'equipment.yaml', '--finding', 'dust')
    const sheet = readFileSync(join(dir, 'equipment.yaml'), 'utf8')
    writeFileSync(join(dir, 'equipment.yaml'), sheet.replace(/^name:/m, 'id: rock\nname:'))
    expect(run('book', 'equipment.yaml').out).toContain('dust')
    expect(run('worksheet', 'equipment.yaml', '--json').code).toBe(0)
  })
  it('a backup or a picture of its old name does not stand for the file', () => {
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'R50=1k')
    copyFileSync(join(dir, 'equipment.yaml'), join(dir, 'equipment.yaml~'))
    writeFileSync(join(dir, 'equipment.jpg'), '')
    rename()
    expect(run('book', 'rock.yaml').code).toBe(6)
  })
  it('lies where the file says, for runs too; several files of one set share it, and a missing folder is no empty book', () => {
    const sheet = readFileSync(join(dir, 'equipment.yaml'), 'utf8')
    const stated = sheet.replace(/^name:/m, 'book: books of sets/rock.book\nname:')
    const lies = join(dir, 'books of sets')
    writeFileSync(join(dir, 'equipment.yaml'), stated)
    expect(run('book', 'equipment.yaml')).toMatchObject({ code: 6 })
    mkdirSync(lies)
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'R50=1k')
    expect(existsSync(join(lies, 'rock.book'))).toBe(true)
    expect(existsSync(join(dir, 'equipment.book'))).toBe(false)
    writeFileSync(join(dir, 'grown.yaml'), stated)
    expect(run('book', 'grown.yaml').out).toContain('R50: 1k, out of range')
    const set = start().prepared.equipment
    const blocked = coldChecksNow({ rails: {}, bench_kind: 'virtual' }, set, join(dir, 'equipment.yaml'))
    expect(blocked.blocks.map(({ item }) => item)).toEqual(['R50'])
    copyFileSync(join(lies, 'rock.book'), join(dir, 'equipment.book'))
    expect(run('book', 'equipment.yaml').err).toContain('lies beside it')
    writeFileSync(join(dir, 'equipment.yaml'), sheet.replace(/^name:/m, 'book: /rock.book\nname:'))
    expect(run('book', 'equipment.yaml').err).toContain('no relative path of a book')
  })
  it('two sets that lead to one book are told so by every command, and get no power', () => {
    const sheet = readFileSync(join(dir, 'equipment.yaml'), 'utf8')
    const called = (name: string) => sheet.replace(/^name:.*$/m, `name: ${name}`)
    const stated = (text: string) => text.replace(/^name:/m, 'book: rock.book\nname:')
    writeFileSync(join(dir, 'equipment.yaml'), stated(sheet))
    writeFileSync(join(dir, 'other.yaml'), stated(called('"The other set" # of the loft')))
    const says =
      /equipment\.yaml \(Tern Rock.*\) and other\.yaml \(The other set\) lead to one book, rock\.book/
    for (const args of [['book'], ['worksheet', '--record', 'R50=46k'], ['record-sheet']]) {
      const [command = '', ...more] = args
      const { code, err } = run(command, 'equipment.yaml', ...more)
      expect(code, command).toBe(6)
      expect(err, command).toMatch(says)
    }
    expect(existsSync(join(dir, 'rock.book'))).toBe(false)
    const checked = run('check', 'receive.yaml')
    expect(checked.code).toBe(1)
    expect(checked.out).toMatch(/^equipment\.yaml:\d+:\d+: /m)
    expect(checked.out).toMatch(says)
    expect(run('plan', 'receive.yaml').out).toMatch(/GETS NO POWER[^]*lead\s+to\s+one\s+book/)
    // One that goes by its file's name is led to just the same; files of one set, of one name, may share.
    writeFileSync(join(dir, 'rock.yaml'), called('A third'))
    rmSync(join(dir, 'other.yaml'))
    expect(run('book', 'equipment.yaml').err).toContain('rock.yaml (A third)')
    expect(run('book', 'rock.yaml').err).toContain('equipment.yaml (Tern Rock')
    writeFileSync(join(dir, 'rock.yaml'), sheet)
    expect(run('book', 'rock.yaml')).toMatchObject({ code: 0 })
    expect(run('check', 'receive.yaml').code).toBe(0)
  })
  it('two books of one set, and two sets of one id, are told apart by a person', () => {
    run('book', 'equipment.yaml', '--finding', 'dust')
    const sheet = readFileSync(join(dir, 'equipment.yaml'), 'utf8').replace(/^name:/m, 'id: rock\nname:')
    writeFileSync(join(dir, 'equipment.yaml'), sheet)
    writeFileSync(join(dir, 'copy.yaml'), sheet)
    expect(run('book', 'equipment.yaml').err).toContain('state the same id')
    rmSync(join(dir, 'copy.yaml'))
    copyFileSync(join(dir, 'equipment.book'), join(dir, 'rock.book'))
    expect(run('book', 'equipment.yaml').err).toContain('two books')
  })
  it('plugged into the mains, it has its primary’s insulation read first, and no waiver stands for that', () => {
    const set = start().prepared.equipment
    const at = join(dir, 'equipment.yaml')
    const own = { rails: { [ownMainsRail]: {} }, bench_kind: 'real' } as unknown as Parameters<
      typeof coldChecksNow
    >[0]
    const blocks = (): string[] => coldChecksNow(own, set, at).blocks.map(({ item }) => item)
    expect(blocks()).toContain('mains insulation')
    run('book', 'equipment.yaml', '--waive', 'mains insulation', '--because', 'it has always been so')
    expect(blocks()).toContain('mains insulation')
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'mains insulation=20M')
    expect(blocks()).not.toContain('mains insulation')
    const bench = { rails: {}, bench_kind: 'real' } as const
    expect(coldChecksNow(bench, set, at).blocks.map(({ item }) => item)).not.toContain('mains insulation')
  })
  it('an id that is no name of a file is refused', () => {
    const sheet = readFileSync(join(dir, 'equipment.yaml'), 'utf8')
    writeFileSync(join(dir, 'equipment.yaml'), sheet.replace(/^name:/m, 'id: ../rock\nname:'))
    expect(run('book', 'equipment.yaml').err).toContain('cannot be the name of a file')
  })
})

const asReal = (): void => {
  const text = readFileSync(join(dir, 'bench.yaml'), 'utf8')
    .replace(/^kind: virtual.*$/m, 'kind: real')
    .replace(/^(?:equipment|seed|faults):.*\n/gm, '')
    .replace(
      /line: \{ kind: virtual[^}]*\}/g,
      (_, i: number) => `line: { kind: tcp, host: 127.0.0.1, port: ${1 + (i % 900)} }`,
    )
  writeFileSync(join(dir, 'bench.yaml'), text)
}
function start(): Start {
  const { plan, parts, files } = planFiles('receive.yaml', undefined, dir)
  if (plan === null || parts === null) throw new Error('planned')
  const prepared = { ...parts, plan, files, faults: [] }
  return {
    command: 'run',
    prepared,
    plan,
    speed: 1,
    seed: null,
    faults: [],
    state_path: join(dir, 'state.json'),
  }
}
/** The start itself, which nothing gets past; a bench that may be opened is a port nobody listens on. */
const opens = async (of: Start): Promise<string> => {
  const open = await openBench(of, new Stops(() => undefined), () => undefined)
  return open.kind === 'open' ? 'open' : open.what
}
const takeAll = (): void => {
  const sheet = JSON.parse(run('worksheet', 'equipment.yaml', '--json').out) as {
    checks: { item: string; must: boolean; usual: number | null; unit: string }[]
  }
  const readings = sheet.checks
    .filter(({ must }) => must)
    .map(({ item, usual, unit }) => `${item}=${usual ?? 0} ${unit}`)
  expect(run('worksheet', 'equipment.yaml', ...metered, '--record', ...readings).code).toBe(0)
}

describe('the interlock in a start', () => {
  it('a real bench gets no power before what must be taken is taken, and gets it then', async () => {
    asReal()
    expect(await opens(start())).toMatch(
      /keep it from power:\n- to be taken before the first volt: charge bias line, .*chain H\nNothing was energised/s,
    )
    takeAll()
    expect(await opens(start())).toBe('open')
    expect(run('plan', 'receive.yaml').out).toContain('Cold checks not taken: look dust')
  })
  it('a reading out of range shuts it on any bench, the last moment before the recorder starts included', async () => {
    const before = start()
    expect(coldObjection(before.plan)).toBeNull()
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'C17 leak=40 MΩ')
    expect(coldObjection(start().plan)?.what).toContain('- C17 leak: 40 MΩ; wanted: 413 MΩ or more')
    // Planned before it was read: the book of this moment counts.
    expect(await opens(before)).toContain('C17 leak')
    const nothing = (): never => {
      throw new Error('Nothing may be begun.')
    }
    const refused = await superviseRun({
      ...{
        start: before,
        places: {},
        word: 'x',
        channel: 'terminal',
        stops: new Stops(() => undefined),
        folder: join(dir, 'runs'),
      },
      ...{
        version: '0',
        env: {},
        told: nothing,
        follow: nothing,
        present: () => true,
        hookedUpAsIn: nothing,
      },
      log: { debug: nothing } as never,
    })
    expect(refused).toMatchObject({ kind: 'not begun', what: expect.stringContaining('C17 leak') as string })
    expect(existsSync(join(dir, 'runs'))).toBe(false)
  })
  it('a waiver opens it and stays in every view of the plan; a start planned before it is planned again', async () => {
    asReal()
    takeAll()
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'C17 leak=40 MΩ')
    expect(run('plan', 'receive.yaml').out).toContain('COLD CHECKS: THE SET GETS NO POWER')
    const before = planFiles('receive.yaml', undefined, dir)
    run(
      'book',
      'equipment.yaml',
      '--waive',
      'C17 leak',
      '--because',
      'V8 is pulled for this run',
      '--by',
      'keeper',
    )
    expect(before.plan?.cold_checks?.blocks).toHaveLength(1)
    const waived = start()
    expect(await opens(waived)).toBe('open')
    expect(waived.plan.unproved.join('\n')).toMatch(
      /WAIVED cold check C17 leak: 40 MΩ.*Waived by keeper on .*: V8 is pulled/,
    )
    run('worksheet', 'equipment.yaml', ...metered, '--record', 'C17 leak=41 MΩ')
    expect(await opens(waived)).toContain('C17 leak')
    run('book', 'equipment.yaml', '--waive', 'C17 leak', '--because', 'V8 is pulled for this run too')
    expect(await opens(waived)).toContain('was written to since this plan was made')
  })
  it('a plan that says nothing of cold checks is no plan for a real set', () => {
    asReal()
    const { cold_checks, ...silent } = start().plan
    expect(cold_checks).toBeDefined()
    expect(coldObjection(silent)?.what).toContain('says nothing of them')
    expect(coldObjection({ ...silent, bench_kind: 'virtual' })).toBeNull()
    expect(coldObjection({ ...silent, kind: 'qualify' })).toBeNull()
  })
  it('a set whose book cannot be looked at is not taken for one without a book', () => {
    writeFileSync(path(), 'no book at all, only words')
    const of = start()
    const [rails, kind] = [of.plan.rails, of.plan.bench_kind]
    expect(
      coldChecksNow({ rails, bench_kind: kind }, of.prepared.equipment, join(dir, 'equipment.yaml')).blocks,
    ).toHaveLength(1)
  })
})
