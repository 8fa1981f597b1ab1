import type { Bench } from './bench-run.js'

/** How a cell may end, so that nothing was lost: everything confirmed off, or the alarm that says what to cut. */
export type End = 'confirmed' | 'alarm' | 'next start' | 'either'

export interface Kind {
  readonly name: string
  /** Where in the tests the same thing is held in detail: file, and words that stand there; null: here only. */
  readonly in_detail: readonly [file: string, words: string] | null
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
  /** It has the program believe that time has passed: when heaters may go off by time alone cannot be told from outside. */
  readonly moves_time?: true
  readonly only?: 'pty' | 'tcp'
  /** It takes the cores from every other run: nothing else is tried meanwhile. */
  readonly alone?: true
}

const short = ['over-ceiling', 'over-trip', 'current-limit', 'off-set-point', 'slow-rise', 'error-integral']
const gone = ['stale', 'line-lost', 'bad-reply', 'read-back']
const lost = ['controller-lost']

export const kinds: readonly Kind[] = [
  {
    name: 'filter capacitor shorts',
    in_detail: ['tests/wire/run.test.ts', 'trips when a capacitor shorts at 60 % of the ramp'],
    fault: 'C2:short',
    codes: short,
    end: 'confirmed',
  },
  {
    name: 'filter capacitor leaks',
    in_detail: null,
    fault: 'C2:leaky=3k',
    codes: short,
    end: 'confirmed',
  },
  {
    name: 'tube too strong',
    in_detail: ['tests/faults/over-rating.test.ts', "'V4:strong=2'"],
    // Three times as strong it stays marginal on the way up: its own cathode resistor holds it.
    fault: 'V1:strong=15',
    codes: [...short, 'rising'],
    end: 'confirmed',
  },
  {
    name: 'heater opens',
    in_detail: ['tests/faults/rehearsal.test.ts', 'trips as heaters lost when a heater opens with HT on'],
    fault: 'V1:heater-open',
    codes: ['heater-lost', ...short],
    end: 'confirmed',
  },
  {
    name: 'bias lost',
    in_detail: ['tests/faults/rehearsal.test.ts', 'trips on bias lost with HT on'],
    fault: 'bias:bias-lost',
    codes: ['bias-low', ...short, ...gone, 'protection'],
    end: 'either',
    takes_bias: true,
  },
  {
    name: 'bias lead off',
    in_detail: ['tests/unit/driven.test.ts', 'says that the bias is lost, not what its loss made of HT'],
    fault: 'bias:lead-off',
    codes: ['bias-low', ...short],
    end: 'either',
    takes_bias: true,
  },
  {
    name: 'HT lead off',
    in_detail: ['tests/faults/rehearsal.test.ts', 'an HT lead fallen off'],
    fault: 'HT:lead-off',
    harmless: true,
    codes: [...short, 'plate-lost', 'below-ask', 'prompt-timeout', 'operator'],
    end: 'confirmed',
  },
  {
    name: 'HT supply drops out',
    in_detail: ['tests/faults/rehearsal.test.ts', 'trip when one of them drops out'],
    fault: 'HT:drop-out',
    codes: [...short, 'protection', ...gone],
    end: 'confirmed',
  },
  {
    name: 'HT protection fires',
    in_detail: ['tests/faults/rehearsal.test.ts', 'trips when the protection of a supply fires'],
    fault: 'HT:trips',
    codes: ['protection', ...short],
    end: 'confirmed',
  },
  {
    name: 'HT supply overheats',
    in_detail: ['tests/faults/over-temperature.test.ts', 'a supply that switches off because it is too hot'],
    fault: 'high:overheats',
    codes: ['protection', ...short],
    end: 'confirmed',
  },
  {
    name: 'somebody has the panel',
    in_detail: ['tests/wire/bad-input.test.ts', 'an OFF that is refused, as every setting is'],
    fault: 'high:local',
    harmless: true,
    codes: [...gone, 'invariant'],
    end: 'either',
  },
  {
    name: 'HT reads nonsense',
    in_detail: ['tests/wire/bad-input.test.ts', 'a number out of any plausible range'],
    fault: 'high:reads-volts=9000V',
    codes: [...short, ...gone, 'protection'],
    end: 'either',
  },
  {
    name: 'HT line silent',
    in_detail: ['tests/faults/bad-input.test.ts', "'line.high:silent'"],
    fault: 'line.high:silent',
    codes: gone,
    end: 'alarm',
  },
  {
    name: 'bias line silent',
    in_detail: ['tests/faults/signals.test.ts', "'off', 'late'"],
    fault: 'line.low:silent',
    codes: gone,
    end: 'alarm',
  },
  {
    name: 'bias meter silent',
    in_detail: ['tests/faults/signals.test.ts', "'off', 'late'"],
    fault: 'line.grid return meter:silent',
    codes: gone,
    end: 'confirmed',
  },
  {
    name: 'HT line garbled',
    in_detail: ['tests/faults/rehearsal.test.ts', 'line.high:garbled@HT>150V'],
    fault: 'line.high:garbled',
    // A digit with a bit flipped may be another digit: a current that was never drawn trips as one that was.
    codes: [...gone, 'protection', ...short],
    end: 'either',
  },
  {
    name: 'HT line noise',
    in_detail: ['tests/wire/bad-input.test.ts', 'binary noise'],
    fault: 'line.high:noise',
    codes: gone,
    end: 'alarm',
  },
  {
    name: 'HT replies 2 s late',
    in_detail: ['tests/faults/signals.test.ts', "'off', 'late'"],
    fault: 'line.high:late=2s',
    codes: gone,
    end: 'either',
  },
  {
    name: 'HT line echoes',
    in_detail: ['tests/wire/bad-input.test.ts', 'an echo'],
    fault: 'line.high:echo',
    harmless: true,
    codes: gone,
    end: 'either',
  },
  {
    name: 'HT replies one behind',
    in_detail: ['tests/wire/bad-input.test.ts', 'replies late by one'],
    fault: 'line.high:behind',
    codes: [...gone, ...short],
    end: 'either',
  },
  {
    name: 'HT reply never ends',
    in_detail: ['tests/wire/bad-input.test.ts', 'a line that never ends'],
    fault: 'line.high:endless',
    codes: gone,
    end: 'alarm',
  },
  {
    name: 'plug in another supply',
    in_detail: ['tests/wire/bad-input.test.ts', 'replies from another instrument'],
    fault: 'line.high:another',
    codes: [...gone, 'protection', ...short],
    end: 'either',
  },
  {
    name: 'HT ignores OFF, then a stop',
    in_detail: ['tests/wire/run.test.ts', 'ends with 4, keeps the bias on and alarms when HT ignores OFF'],
    fault: 'HT:ignores-off',
    act: (run) => {
      run.stop()
    },
    codes: ['operator'],
    end: 'alarm',
  },
  {
    name: 'stop by Ctrl-C',
    in_detail: ['tests/wire/run.test.ts', 'runs down at the first Ctrl-C'],
    act: (run) => {
      run.stop()
    },
    codes: ['operator'],
    end: 'confirmed',
  },
  {
    name: 'terminal closed',
    in_detail: ['tests/wire/run.test.ts', 'takes a closed terminal for a stop'],
    act: (run) => {
      run.session.hangUp()
    },
    harmless: true,
    codes: ['operator', 'parent-lost', 'prompt-timeout'],
    end: 'either',
  },
  {
    name: 'HT line unplugged',
    in_detail: ['tests/wire/supply.test.ts', 'a hang-up is noticed and told with what it means'],
    act: (run) => {
      run.unplug('high')
    },
    codes: gone,
    end: 'either',
    only: 'pty',
  },
  {
    name: 'HT line unplugged, then plugged in again',
    in_detail: ['tests/wire/replug.test.ts', 'goes on with the instrument that it knows'],
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
    in_detail: ['tests/wire/traps.test.ts', 'F6: an OFF behind a stuck write waits for ever'],
    act: (run) => {
      run.stick('high')
    },
    codes: gone,
    end: 'either',
    only: 'pty',
  },
  {
    name: 'controller killed',
    in_detail: [
      'tests/wire/supervisor.test.ts',
      'has the outputs off when the controller is killed in mid-ramp',
    ],
    act: (run) => {
      run.kill('SIGKILL', 'controller')
    },
    codes: lost,
    end: 'confirmed',
  },
  {
    name: 'controller stopped',
    in_detail: ['tests/wire/supervisor.test.ts', 'when the controller only stands still (SIGSTOP)'],
    act: (run) => {
      run.kill('SIGSTOP', 'controller')
    },
    codes: lost,
    end: 'confirmed',
  },
  {
    name: 'controller breaks',
    in_detail: ['tests/wire/supervisor.test.ts', 'has them off when the controller breaks'],
    act: (run) => {
      run.wish('controller', 'throw')
    },
    codes: lost,
    end: 'confirmed',
  },
  {
    name: 'supervisor killed',
    in_detail: ['tests/wire/supervisor.test.ts', 'is itself watched: when it is killed'],
    act: (run) => {
      run.kill('SIGKILL', 'supervisor')
    },
    codes: ['parent-lost'],
    end: 'confirmed',
  },
  {
    name: 'supervisor stopped 3 s',
    in_detail: ['tests/unit/rule-marks.test.ts', "'parent-lost'"],
    act: (run) => {
      run.kill('SIGSTOP', 'supervisor')
    },
    after: (run) => run.goOn(3000, 'supervisor'),
    codes: ['parent-lost', ...lost],
    end: 'either',
  },
  {
    name: 'both killed',
    in_detail: ['tests/wire/safe-off.test.ts', 'ends an orphan controller, reads back what is on'],
    act: (run) => {
      run.kill('SIGKILL', 'supervisor', 'controller')
    },
    end: 'next start',
  },
  {
    name: 'both stopped 3 s',
    in_detail: ['tests/unit/rule-marks.test.ts', "'late-tick'"],
    act: (run) => {
      run.kill('SIGSTOP', 'controller', 'supervisor')
    },
    after: (run) => run.goOn(3000, 'supervisor', 'controller'),
    codes: ['late-tick', 'stale', 'line-lost', 'parent-lost', ...lost],
    end: 'either',
  },
  {
    name: 'recorder killed',
    in_detail: ['tests/wire/supervisor.test.ts', 'makes safe when the recorder is killed'],
    act: (run) => {
      run.kill('SIGKILL', 'recorder')
    },
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'recorder stopped 3 s',
    in_detail: [
      'tests/wire/recorder.test.ts',
      'that stands still for a while holds up nobody and loses nothing',
    ],
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
    in_detail: ['tests/wire/recorder.test.ts', 'on a full disk says so and keeps the rest elsewhere'],
    act: (run) => {
      run.wish('recorder', 'full')
    },
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'disk full (tmpfs)',
    in_detail: ['tests/wire/recorder.test.ts', 'on a file system that fills up in mid-run loses nothing'],
    act: (run) => {
      run.fillDisk()
    },
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'fsync stands 4 s',
    in_detail: ['tests/wire/slow-disk.test.ts', 'holds up no trip'],
    act: (run) => {
      run.wish('recorder', 'stands')
    },
    harmless: true,
    codes: ['recorder-lost'],
    end: 'confirmed',
  },
  {
    name: 'computer sleeps 60 s',
    in_detail: ['tests/unit/rule-marks.test.ts', 'slept:'],
    moves_time: true,
    act: (run) => {
      run.wish('controller', 'sleep 60')
    },
    codes: ['slept'],
    end: 'confirmed',
  },
  {
    name: 'wall clock back 1 h',
    in_detail: null,
    act: (run) => {
      run.wish('controller', 'wall -3600')
    },
    harmless: true,
    codes: [],
    end: 'confirmed',
  },
  {
    name: 'clock jumps 5 s ahead',
    in_detail: ['tests/unit/rule-marks.test.ts', "'late-tick'"],
    moves_time: true,
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
    in_detail: [
      'tests/unit/supervise.test.ts',
      'does not take its own being held up for silence of the controller',
    ],
    act: (run) => {
      run.burn(3000)
    },
    alone: true,
    harmless: true,
    codes: ['late-tick', 'stale', 'line-lost', 'parent-lost', ...lost],
    end: 'either',
  },
  {
    // Its heap is filled and let go again, so that its loop waits for the collector: the computer's own memory stays as it is.
    name: 'controller collects garbage',
    in_detail: ['tests/unit/rule-marks.test.ts', "'late-tick'"],
    act: (run) => {
      run.wish('controller', 'garbage')
    },
    harmless: true,
    codes: ['late-tick', 'stale', 'line-lost', 'parent-lost', ...lost],
    end: 'either',
  },
]

export const moments = ['ramp', 'hold', 'settle', 'prompt', 'make-safe'] as const
export type Moment = (typeof moments)[number]
