import type { Bench } from './bench-run.js'

/** How a cell may end, so that nothing was lost: everything confirmed off, or the alarm that says what to cut. */
export type End = 'confirmed' | 'alarm' | 'next start' | 'either'

export interface Kind {
  readonly name: string
  /** Where in the tests the same thing is held in detail. */
  readonly row_of: string
  /** A fault of the virtual bench, let loose at the moment. */
  readonly fault?: string
  /** Anything else that is done at the moment. */
  readonly act?: (run: Bench) => void | Promise<void>
  /** After it began, for kinds that must be ended from outside. */
  readonly after?: (run: Bench) => void | Promise<void>
  /** Codes that are the right reason; a run that is already going off keeps its first. None given: it need end nothing. */
  readonly codes?: readonly string[]
  /** It need not end the run: a supply or clock that is no trouble. */
  readonly harmless?: true
  readonly end: End
  /** What it does to the bias or its supply itself, so that the order cannot be told from outside. */
  readonly takes_bias?: true
  readonly only?: 'pty' | 'tcp'
  /** It takes the cores from every other run: nothing else is tried meanwhile. */
  readonly alone?: true
}

/**
 * What ends a run whose processes the machine kept from their cores: a right and safe end, though not for the reason that was tried.
 */
export const lateCodes: readonly string[] = [
  'late-tick',
  'stale',
  'line-lost',
  'parent-lost',
  'controller-lost',
  'recorder-lost',
]

const faults = 'tests/faults'
const input = 'tests/wire/bad-input.test.ts'
const supervisor = 'tests/wire/supervisor.test.ts'
const short = ['over-ceiling', 'over-trip', 'current-limit', 'off-set-point', 'slow-rise', 'error-integral']
const gone = ['stale', 'line-lost', 'bad-reply', 'read-back']
const lost = ['controller-lost']

export const kinds: readonly Kind[] = [
  { name: 'filter capacitor shorts', row_of: faults, fault: 'C2:short', codes: short, end: 'confirmed' },
  { name: 'filter capacitor leaks', row_of: faults, fault: 'C2:leaky=3k', codes: short, end: 'confirmed' },
  {
    name: 'tube too strong',
    row_of: faults,
    fault: 'V1:strong=3',
    codes: [...short, 'rising'],
    end: 'confirmed',
  },
  {
    name: 'heater opens',
    row_of: faults,
    fault: 'V1:heater-open',
    codes: ['heater-lost', ...short],
    end: 'confirmed',
  },
  {
    name: 'bias lost',
    row_of: faults,
    fault: 'bias:bias-lost',
    codes: ['bias-low', ...short, ...gone, 'protection'],
    end: 'either',
    takes_bias: true,
  },
  {
    name: 'bias lead off',
    row_of: faults,
    fault: 'bias:lead-off',
    codes: ['bias-low', ...short],
    end: 'either',
    takes_bias: true,
  },
  {
    name: 'HT lead off',
    row_of: faults,
    fault: 'HT:lead-off',
    harmless: true,
    codes: [...short, 'plate-lost', 'below-ask', 'prompt-timeout', 'operator'],
    end: 'confirmed',
  },
  {
    name: 'HT supply drops out',
    row_of: faults,
    fault: 'HT:drop-out',
    codes: [...short, 'protection', ...gone],
    end: 'confirmed',
  },
  {
    name: 'HT protection fires',
    row_of: 'tests/unit/sequencer.test.ts',
    fault: 'HT:trips',
    codes: ['protection', ...short],
    end: 'confirmed',
  },
  {
    name: 'HT supply overheats',
    row_of: 'tests/faults/over-temperature.test.ts',
    fault: 'high:overheats',
    codes: ['protection', ...short],
    end: 'confirmed',
  },
  {
    name: 'somebody has the panel',
    row_of: input,
    fault: 'high:local',
    harmless: true,
    codes: [...gone, 'invariant'],
    end: 'either',
  },
  {
    name: 'HT reads nonsense',
    row_of: input,
    fault: 'high:reads-volts=9000V',
    codes: [...short, ...gone, 'protection'],
    end: 'either',
  },
  { name: 'HT line silent', row_of: input, fault: 'line.high:silent', codes: gone, end: 'alarm' },
  { name: 'bias line silent', row_of: input, fault: 'line.low:silent', codes: gone, end: 'alarm' },
  {
    name: 'bias meter silent',
    row_of: faults,
    fault: 'line.grid return meter:silent',
    codes: gone,
    end: 'confirmed',
  },
  {
    name: 'HT line garbled',
    row_of: input,
    fault: 'line.high:garbled',
    // A digit with a bit flipped may be another digit: a current that was never drawn trips as one that was.
    codes: [...gone, 'protection', ...short],
    end: 'either',
  },
  { name: 'HT line noise', row_of: input, fault: 'line.high:noise', codes: gone, end: 'alarm' },
  { name: 'HT replies 2 s late', row_of: input, fault: 'line.high:late=2s', codes: gone, end: 'either' },
  {
    name: 'HT line echoes',
    row_of: input,
    fault: 'line.high:echo',
    harmless: true,
    codes: gone,
    end: 'either',
  },
  {
    name: 'HT replies one behind',
    row_of: input,
    fault: 'line.high:behind',
    codes: [...gone, ...short],
    end: 'either',
  },
  { name: 'HT reply never ends', row_of: input, fault: 'line.high:endless', codes: gone, end: 'alarm' },
  {
    name: 'plug in another supply',
    row_of: input,
    fault: 'line.high:another',
    codes: [...gone, 'protection', ...short],
    end: 'either',
  },
  {
    name: 'HT ignores OFF, then a stop',
    row_of: supervisor,
    fault: 'HT:ignores-off',
    act: (run) => {
      run.stop()
    },
    codes: ['operator'],
    end: 'alarm',
  },
  {
    name: 'stop by Ctrl-C',
    row_of: 'tests/wire/run.test.ts',
    act: (run) => {
      run.stop()
    },
    codes: ['operator'],
    end: 'confirmed',
  },
  {
    name: 'terminal closed',
    row_of: 'tests/wire/run.test.ts',
    act: (run) => {
      run.session.hangUp()
    },
    harmless: true,
    codes: ['operator', 'parent-lost', 'prompt-timeout'],
    end: 'either',
  },
  {
    name: 'HT line unplugged',
    row_of: 'tests/wire/supply.test.ts',
    act: (run) => {
      run.unplug('high')
    },
    codes: gone,
    end: 'either',
    only: 'pty',
  },
  {
    name: 'HT line unplugged, then plugged in again',
    row_of: 'tests/wire/replug.test.ts',
    act: (run) => {
      run.unplug('high')
    },
    after: (run) => run.plugAgain('high'),
    codes: gone,
    // Found at its name, asked who it is, told OFF, and measured.
    end: 'confirmed',
    only: 'pty',
  },
  {
    name: 'HT line stuck',
    row_of: 'tests/wire/traps.test.ts',
    act: (run) => {
      run.stick('high')
    },
    codes: gone,
    end: 'either',
    only: 'pty',
  },
  {
    name: 'controller killed',
    row_of: supervisor,
    act: (run) => {
      run.kill('SIGKILL', 'controller')
    },
    codes: lost,
    end: 'confirmed',
  },
  {
    name: 'controller stopped',
    row_of: supervisor,
    act: (run) => {
      run.kill('SIGSTOP', 'controller')
    },
    codes: lost,
    end: 'confirmed',
  },
  {
    name: 'controller breaks',
    row_of: supervisor,
    act: (run) => {
      run.wish('controller', 'throw')
    },
    codes: lost,
    end: 'confirmed',
  },
  {
    name: 'supervisor killed',
    row_of: supervisor,
    act: (run) => {
      run.kill('SIGKILL', 'supervisor')
    },
    codes: ['parent-lost'],
    end: 'confirmed',
  },
  {
    name: 'supervisor stopped 3 s',
    row_of: supervisor,
    act: (run) => {
      run.kill('SIGSTOP', 'supervisor')
    },
    after: (run) => run.goOn(3000, 'supervisor'),
    codes: ['parent-lost', ...lost],
    end: 'either',
  },
  {
    name: 'both killed',
    row_of: 'tests/wire/safe-off.test.ts',
    act: (run) => {
      run.kill('SIGKILL', 'supervisor', 'controller')
    },
    end: 'next start',
  },
  {
    name: 'both stopped 3 s',
    row_of: supervisor,
    act: (run) => {
      run.kill('SIGSTOP', 'controller', 'supervisor')
    },
    after: (run) => run.goOn(3000, 'supervisor', 'controller'),
    codes: ['late-tick', 'stale', 'line-lost', 'parent-lost', ...lost],
    end: 'either',
  },
  {
    name: 'recorder killed',
    row_of: supervisor,
    act: (run) => {
      run.kill('SIGKILL', 'recorder')
    },
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'recorder stopped 3 s',
    row_of: 'tests/wire/slow-disk.test.ts',
    act: (run) => {
      run.kill('SIGSTOP', 'recorder')
    },
    after: (run) => run.goOn(3000, 'recorder'),
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'disk full (page limit)',
    row_of: 'tests/wire/recorder.test.ts',
    act: (run) => {
      run.wish('recorder', 'full')
    },
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'disk full (tmpfs)',
    row_of: 'tests/wire/recorder.test.ts',
    act: (run) => {
      run.fillDisk()
    },
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'fsync stands 4 s',
    row_of: 'tests/wire/slow-disk.test.ts',
    act: (run) => {
      run.wish('recorder', 'stands')
    },
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'computer sleeps 60 s',
    row_of: 'tests/unit/sequencer.test.ts',
    act: (run) => {
      run.wish('controller', 'sleep 60')
    },
    codes: ['slept'],
    end: 'confirmed',
  },
  {
    name: 'wall clock back 1 h',
    row_of: 'tests/unit/sequencer.test.ts',
    act: (run) => {
      run.wish('controller', 'wall -3600')
    },
    harmless: true,
    codes: [],
    end: 'confirmed',
  },
  {
    name: 'clock jumps 5 s ahead',
    row_of: 'tests/simulator',
    act: (run) => {
      run.wish('controller', 'clock 5')
    },
    codes: [
      'late-tick',
      'slept',
      'stale',
      'parent-lost',
      'line-lost',
      'key-time',
      'prompt-timeout',
      'error-integral',
    ],
    end: 'confirmed',
  },
  {
    name: 'every core busy 3 s',
    row_of: 'tests/wire/ways.test.ts',
    act: (run) => {
      run.burn(3000)
    },
    alone: true,
    harmless: true,
    codes: ['late-tick', 'stale', 'line-lost', 'parent-lost', ...lost],
    end: 'either',
  },
  {
    name: 'memory short',
    row_of: 'tests/unit/recorder-client.test.ts',
    act: (run) => {
      run.wish('controller', 'memory')
    },
    harmless: true,
    codes: ['late-tick', 'stale', 'line-lost', 'parent-lost', ...lost],
    end: 'either',
  },
]

export const moments = ['ramp', 'hold', 'settle', 'prompt', 'make-safe'] as const
export type Moment = (typeof moments)[number]
