import { readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'
import { groundGraph, plainScpi, type Bench } from '../../src/bench/index.js'
import type { Equipment } from '../../src/equipment/index.js'
import { fromText } from '../../src/files/index.js'
import { changed, expectProblem, soundBench, soundSet, type Case } from '../helpers/files.js'

const read = (text: string) => fromText(text, 'bench.yaml', 'bench')

function sound<T>(value: T | null): T {
  expect(value).not.toBeNull()
  return value as T
}

const alone: readonly Case[] = [
  {
    title: 'a reading stale before the line can bring the next',
    from: 'slowglow: bench 1\n',
    to: 'slowglow: bench 1\nstale_after: 100 ms\n',
    at: '100 ms',
    says: /stale after 100 ms, and the line of .* may take .* to the next with nothing wrong/,
    advises: /write at least .*, leave it out, or give the line more speed/,
  },
  {
    title: 'a bias or HT reading that may be old for long',
    from: 'slowglow: bench 1\n',
    to: 'slowglow: bench 1\nstale_after: 20 s\n',
    at: '20 s',
    says: /would count as fresh for 20 s, and for so long nobody would see .*; at most 5 s is allowed/,
    advises: /5 s or less/,
  },
  {
    title: 'an unknown key',
    from: 'isolation: 500 V',
    to: 'isolaton: 500 V',
    at: 'isolaton',
    says: /'isolaton' is not known/,
    advises: /'isolation'/,
  },
  {
    title: 'a line without its kind',
    from: '{ kind: serial, path: /dev/ttyS0, baud: 9600 }',
    to: '/dev/ttyS0',
    at: '/dev/ttyS0',
    says: /line is missing its kind/,
    advises: /kind: serial/,
  },
  {
    title: 'true where yes, no or unknown is meant',
    from: 'interface_isolated: yes',
    to: 'interface_isolated: true',
    at: 'true\n',
    says: /'true' is not one of: yes, no, unknown/,
    advises: /yes, no, unknown/,
  },
  {
    title: 'two channels with one number',
    from: 'number: 2',
    to: 'number: 1',
    at: 'bias:\n',
    says: /heaters and bias of low have the same number 1/,
    advises: /own number/,
  },
  {
    title: 'several channels and no words to choose one',
    from: '    dialect: { based_on: plain SCPI, name: two channels, select: ":INST:NSEL {n};" }\n',
    to: '',
    at: 'heaters:\n        number',
    says: /2 channels, but its dialect has no words to choose one/,
    advises: /INST:NSEL/,
  },
  {
    title: 'two instruments on one line',
    from: '/dev/ttyS1',
    to: '/dev/ttyS0',
    at: '{ kind: serial, path: /dev/ttyS0, baud: 9600 }\n    isolation: 250',
    says: /high and low have the same line/,
    advises: /one line, one instrument/,
  },
  {
    title: 'two channels on one rail',
    from: 'feeds: heaters',
    to: 'feeds: HT',
    at: 'HT\n        role: heater',
    says: /high\.out and low\.heaters both feed rail HT: two sources on one reservoir/,
    advises: /stacks/,
  },
  {
    title: 'a virtual line on a real bench',
    from: '{ kind: serial, path: /dev/ttyS0, baud: 9600 }',
    to: '{ kind: virtual }',
    at: '{ kind: virtual }',
    says: /virtual line stands on a real bench/,
    advises: /serial port/,
  },
  {
    title: 'a virtual bench with no set behind it',
    from: 'kind: real',
    to: 'kind: virtual',
    at: 'virtual',
    says: /needs a set behind it/,
    advises: /equipment:/,
  },
  {
    title: 'a real bench with faults',
    from: 'kind: real',
    to: 'kind: real\nfaults: ["C1:short"]',
    at: '["C1',
    says: /only a virtual bench/,
    advises: /leave them out/,
  },
  {
    title: 'a clipped meter that is nowhere',
    from: '    at: grid return\n    against: chassis\n',
    to: '',
    at: 'clipped:',
    says: /does not say what it is clipped to/,
    advises: /at:/,
  },
  {
    title: 'a meter with one lead',
    from: '    against: chassis\n',
    to: '',
    at: 'grid return',
    says: /the other is nowhere/,
    advises: /against:/,
  },
  {
    title: 'a meter without resolution',
    from: '    resolution_volts: 10 mV\n    accuracy_volts: { of_reading: 0.5 %',
    to: '    accuracy_volts: { of_reading: 0.5 %',
    at: 'clipped:',
    says: /does not say its resolution/,
    advises: /resolution_volts/,
  },
  {
    title: 'a supply too coarse to judge by',
    from: 'resolution_amps: 1 mA',
    to: 'resolution_amps: 20 mA',
    at: '20 mA',
    says: /sees only steps of 20 mA of its 200 mA/,
    advises: /check the figure/,
  },
  {
    title: 'bench leads beyond what they carry',
    from: 'kind: real',
    to: 'kind: real\nleads_max: 900 V',
    at: '900 V',
    says: /is above 600 V/,
    advises: /bounds/,
  },
  {
    title: 'a stack with a channel that is not there',
    from: 'meters:',
    to: 'stacks:\n  - { rail: HT, channels: [high.out, high.two] }\nmeters:',
    at: 'high.two',
    says: /no channel 'high.two'/,
    advises: /high\.out, low\.heaters, low\.bias/,
  },
  {
    title: 'a stack of one',
    from: 'meters:',
    to: 'stacks:\n  - { rail: HT, channels: [high.out] }\nmeters:',
    at: '[high.out]',
    says: /two channels or more/,
    advises: /leave the stack out/,
  },
]

describe('a bench file', () => {
  it('that is sound is read whole, with what it leaves out filled in', () => {
    const { value, problems } = read(soundBench)
    expect(problems).toEqual([])
    const bench = sound(value)
    expect(bench.supplies['high']?.dialect).toEqual(plainScpi)
    expect(bench.supplies['low']?.dialect.select).toBe(':INST:NSEL {n};')
    expect(bench.supplies['low']?.channels['bias']).toMatchObject({
      number: 2,
      off_order: 30,
      bias_release: { below_V: 60, after_s: 300 },
    })
    expect(bench.meters['clipped']).toMatchObject({ ohm: 10e6, at: 'grid return' })
    expect(bench.leads_max_V).toBe(600)
  })

  it.each(alone)('is refused for $title, at its place and with what would be right', (wanted) => {
    const text = changed(soundBench, wanted)
    const { value, problems } = read(text)
    expect(value).toBeNull()
    expectProblem(problems, text, wanted)
  })

  it('is refused with one switch for more than one output: each ON would put on what is neither limited nor watched', () => {
    const from = 'isolation: 250 V'
    const to = 'isolation: 250 V\n    common_output_switch: true'
    const text = changed(soundBench, { from, to })
    expectProblem(read(text).problems, text, {
      title: '',
      from,
      to,
      at: 'true',
      says: /one switch is for all outputs of \w+: each ON would put all 2 of them on/,
      advises: /write only the channel that is used/,
    })
  })

  it('is refused when HT and bias stand behind one dead-man timer, or a screen or drive does', () => {
    const from = 'name: two channels,'
    const to = 'name: two channels, dead_man: { arm: "WDOG 1", feed: "WDOG?", after: 2 s },'
    const other = (role: string): string =>
      changed(changed(soundBench, { from: 'role: heater', to: `role: ${role}` }), { from, to })
    for (const role of ['HT', 'drive'])
      expect(read(other(role)).problems.map(({ what }) => what)).toContainEqual(
        expect.stringMatching(`feeds both bias and ${role}, and one dead-man timer`),
      )
    const text = other('screen')
    expectProblem(read(text).problems, text, {
      title: '',
      from,
      to,
      at: '{ based_on',
      says: /feeds both bias and screen, and one dead-man timer/,
      advises: /another supply/,
    })
  })

  it('of a person with no line at all is sound', () => {
    const { value, problems } = read(
      'slowglow: bench 1\nname: by hand\nkind: real\nmeters:\n  hand meter:\n    measures: V\n    resolution_volts: 100 mV\n    isolation: 600 V\n',
    )
    expect(problems).toEqual([])
    expect(value?.meters['hand meter']?.line).toBeNull()
  })
})

/** Problems of set and bench together, after a change to either. */
function together(
  setChange: { from: string; to: string } | null,
  benchChanges: readonly { from: string; to: string }[],
) {
  const setText = setChange === null ? soundSet : changed(soundSet, setChange)
  const benchText = benchChanges.reduce(changed, soundBench)
  const set = fromText(setText, 'set.yaml', 'equipment')
  const bench = fromText(benchText, 'bench.yaml', 'bench')
  expect([...set.problems, ...bench.problems].map(({ what }) => what)).toEqual([])
  const problems = groundGraph(sound<Equipment>(set.value), sound<Bench>(bench.value), {
    equipment: set.where,
    bench: bench.where,
  })
  return { problems, setText, benchText }
}

const both: readonly (Omit<Case, 'from' | 'to'> & {
  change: readonly { from: string; to: string }[]
  set?: { from: string; to: string }
})[] = [
  {
    title: 'an unknown rail',
    change: [{ from: 'feeds: heaters', to: 'feeds: heater' }],
    at: 'heater\n',
    says: /no rail 'heater'/,
    advises: /'heaters'/,
  },
  {
    title: 'a role that is not the rail’s',
    change: [{ from: 'role: bias', to: 'role: other' }],
    at: 'other',
    says: /is for other, but rail bias of the set is for bias/,
    advises: /role: bias/,
  },
  {
    title: 'a meter at an unknown node',
    change: [{ from: 'at: grid return', to: 'at: grid retrun' }],
    at: 'grid retrun',
    says: /no node of the set/,
    advises: /'grid return'/,
  },
  {
    title: 'a loop through the computer',
    change: [
      {
        from: 'isolation: 500 V\n    interface_isolated: yes',
        to: 'isolation: 500 V\n    interface_isolated: no',
      },
      {
        from: '{ kind: serial, path: /dev/ttyS1, baud: 9600 }\n    isolation: 250 V',
        to: '{ kind: serial, path: /dev/ttyS1, baud: 9600 }\n    isolation: 250 V\n    earthed_negative: true',
      },
    ],
    at: 'true',
    says: /through the computer/,
    advises: /earth link|isolated interface/,
  },
  {
    title: 'a short of the bias rail through the computer',
    change: [
      {
        from: 'isolation: 500 V\n    interface_isolated: yes',
        to: 'isolation: 500 V\n    interface_isolated: no',
      },
      {
        from: 'isolation: 250 V\n    interface_isolated: yes',
        to: 'isolation: 250 V\n    interface_isolated: unknown',
      },
    ],
    at: 'unknown',
    says: /low\.bias joins 'bias line' to the computer, which is earthed .* and the chassis of test set is earthed too: a short across 80 V/,
    advises: /unknown counts as no: an ohmmeter/,
  },
  {
    title: 'a short of the bias rail through a computer on its battery, and the HT supply',
    change: [
      { from: 'kind: real', to: 'kind: real\ncomputer_earthed: false' },
      {
        from: 'isolation: 500 V\n    interface_isolated: yes',
        to: 'isolation: 500 V\n    interface_isolated: no',
      },
      {
        from: 'isolation: 250 V\n    interface_isolated: yes',
        to: 'isolation: 250 V\n    interface_isolated: unknown',
      },
    ],
    at: 'unknown',
    says: /join 'chassis' and 'bias line' of the set through the computer: a short across a rail/,
    advises: /unknown counts as no: an ohmmeter/,
  },
  {
    title: 'a short of the bias rail by its own supply alone, through the earth of the computer',
    change: [
      {
        from: 'isolation: 250 V\n    interface_isolated: yes',
        to: 'isolation: 250 V\n    interface_isolated: no',
      },
    ],
    at: 'no\n    dialect',
    says: /low\.bias joins 'bias line' to the computer, which is earthed .*: a short across 80 V/,
    advises: /use an isolated interface for low/,
  },
  {
    title: 'a meter on a line that is not isolated, with its low lead away from the chassis',
    change: [
      { from: 'against: chassis', to: 'against: grid return' },
      { from: 'at: grid return', to: 'at: reservoir' },
      {
        from: 'isolation: 300 V\n    interface_isolated: yes',
        to: 'isolation: 300 V\n    interface_isolated: no',
      },
    ],
    at: 'no\n',
    says: /meter clipped joins 'grid return' to the computer, which is earthed .*: it bridges \w+/,
    advises: /use an isolated interface for clipped/,
  },
  {
    title: 'an isolation exceeded',
    change: [{ from: 'isolation: 500 V', to: 'isolation: 200 V' }],
    at: 'HT\n',
    says: /would stand 300 V from chassis on rail HT, above its isolation of 200 V/,
    advises: /made for it/,
  },
  {
    title: 'a clipped meter whose leads are not made for it',
    change: [{ from: 'isolation: 300 V', to: 'isolation: 25 V' }],
    at: '25 V\n',
    says: /may stand 25 V from earth/,
    advises: /made for it/,
  },
  {
    title: 'a current that cannot be seen',
    change: [
      {
        from: 'resolution_volts: 10 mV\n        resolution_amps: 0.1 mA',
        to: 'resolution_volts: 10 mV\n        resolution_amps: 5 mA',
      },
    ],
    at: '5 mA\n        accuracy_volts: { of_reading: 0.1 %, plus: 10 mV }\n        accuracy_amps: { of_reading: 0.1 %, plus: 0.1 mA',
    says: /steps of 5 mA, but rail bias draws only 5\.9/,
    advises: /resolves 1\.1/,
  },
  {
    title: 'a rail above 60 V that nothing discharges at the supply',
    set: {
      from: 'negative_at: terminal B, pull: [V9] }',
      to: 'negative_at: terminal B, pull: [V9], blocking_diode: true }',
    },
    change: [{ from: '        bleeder: 22k\n', to: '' }],
    at: 'out:',
    says: /nothing discharges it at the terminals of high\.out \(the fuse or diode/,
    advises:
      /56 kΩ resistor rated 5 W or more .*takes 1\.6 W .* 54 µF to 60 V in 4\.9 s.* write bleeder: 56 kΩ/,
  },
  {
    title: 'a supply that goes above what bench leads carry',
    change: [{ from: 'kind: real', to: 'kind: real\nleads_max: 200 V' }],
    at: '300 V',
    says: /bench leads carry 200 V at most/,
    advises: /set by hand/,
  },
]

describe('set and bench together', () => {
  it('that fit give no problem', () => {
    expect(together(null, []).problems).toEqual([])
  })

  it.each(both)(
    'are refused for $title, at its place and with what would be right',
    ({ change, set, ...wanted }) => {
      const { problems, benchText } = together(set ?? null, change)
      expectProblem(problems, benchText, { ...wanted, from: '', to: '' })
    },
  )

  it("take the set's own bleeder as a discharge path where only wire lies between", () => {
    expect(together(null, [{ from: '        bleeder: 22k\n', to: '' }]).problems).toEqual([])
  })

  it('are refused when a live chassis would be joined to the computer, isolating transformer or not', () => {
    const { problems } = together(
      {
        from: 'chassis: isolated',
        to: 'chassis: live\nisolating_transformer: 500 VA\nhazards: [live chassis]',
      },
      [
        {
          from: 'isolation: 500 V\n    interface_isolated: yes',
          to: 'isolation: 500 V\n    interface_isolated: no',
        },
      ],
    )
    expect(
      problems.some(
        ({ what, severity }) => severity === 'error' && what.includes('is live, and high.out joins'),
      ),
    ).toBe(true)
  })

  it('warn, and go on, when one supply joins the set to the computer', () => {
    const { problems } = together(null, [
      {
        from: 'isolation: 500 V\n    interface_isolated: yes',
        to: 'isolation: 500 V\n    interface_isolated: no',
      },
    ])
    expect(problems.map(({ severity }) => severity)).toEqual(['warning'])
  })

  it('warn, and go on, when a meter alone joins the set to the computer: at the chassis, or with the computer on its battery', () => {
    const open = { from: 'isolation: 300 V\n    interface_isolated: yes', to: 'isolation: 300 V' }
    const away = [
      { from: 'against: chassis', to: 'against: grid return' },
      { from: 'at: grid return', to: 'at: reservoir' },
      { from: 'kind: real', to: 'kind: real\ncomputer_earthed: false' },
    ]
    for (const [change, says] of [
      [
        [open],
        /^'chassis' of the set is joined to the computer through clipped: a fault in the set reaches the computer$/,
      ],
      [[open, ...away], /^'grid return' of the set .* no charger, no screen/],
    ] as const) {
      const { problems } = together(null, change)
      expect(problems.map(({ severity, what }) => [severity, says.test(what)])).toEqual([['warning', true]])
    }
  })

  it.each([
    ['programmed', /no channel of test bench feeds it/],
    ['watched', /no meter on a line of test bench measures it/],
  ])('are refused when a rail is to be %s and the bench cannot', (wanted, says) => {
    const { problems } = together(
      { from: '    role: heater', to: `    role: heater\n    class: ${wanted}` },
      [
        { from: 'feeds: heaters\n        role: heater', to: 'feeds: bias\n        role: bias' },
        {
          from: 'feeds: bias\n        role: bias\n        max_volts: 80 V',
          to: 'feeds: HT\n        role: HT\n        max_volts: 80 V',
        },
        { from: 'meters:', to: 'stacks:\n  - { rail: HT, channels: [low.bias, high.out] }\nmeters:' },
      ],
    )
    expect(problems.some(({ what, file }) => file === 'set.yaml' && says.test(what))).toBe(true)
  })
})

describe('a bench file of which every supply is wrong', () => {
  const demo = readFileSync('profiles/tern-rock/bench.yaml', 'utf8')
  const noLine = demo.replaceAll(/^( {4}line:) .*/gm, '$1 nonsense')
  const told = (text: string): string[] =>
    read(text).problems.map(({ what, remedy }) => `${what} → ${remedy}`)

  it('is told of its supplies alone, not of what shares their lines: they are there, and named where they stand', () => {
    const problems = told(noLine)
    expect(problems.length).toBeGreaterThan(0)
    expect(problems.join('\n')).not.toContain('no supply of this bench')
    for (const each of problems) expect(each).not.toMatch(/(?::|\b(?:are|is|of))\s*[.)]?$/)
  })

  it('says that there is none to name where a name is wrong as well', () => {
    const [, remedy = ''] =
      told(noLine.replace('on: low', 'on: lower'))
        .find((each) => each.includes("'lower'"))
        ?.split(' → ') ?? []
    expect(remedy).toBe('this file has none that could be read')
  })
})
