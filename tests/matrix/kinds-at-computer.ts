import { gone, type Kind, lost } from './kind.js'

/** Of the line that asks, and of the supervisor's spare one. */
const cut = ['connection lost', 'No connection in reserve to']

/** Terminals, connections, processes, disks, clocks and memory: done from outside, or inside the processes of a run. */
export const kindsAtComputer: readonly Kind[] = [
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
  {
    // A switch or the supply's own network part begins anew: nothing was said, and whoever asks is let in again.
    name: 'HT connection reset, taken again at once',
    in_detail: ['tests/wire/traps.test.ts', 'F2, F4: the end of a connection is noticed by itself'],
    act: (run) => run.cut('high', 'reset', 'taken'),
    harmless: true,
    codes: gone,
    end: 'confirmed',
    only: 'tcp',
    told: cut,
  },
  {
    name: 'HT connection ended, taken again once it goes off',
    in_detail: ['tests/wire/traps.test.ts', 'F2, F4: the end of a connection is noticed by itself'],
    act: (run) => run.cut('high', 'end', 'refused'),
    after: (run) => run.takeAgain('high'),
    codes: gone,
    // Asked who it is, told OFF, and measured.
    end: 'confirmed',
    only: 'tcp',
    told: cut,
  },
  {
    name: 'HT connection reset, refused from then on',
    in_detail: ['tests/wire/traps.test.ts', 'F2, F4: the end of a connection is noticed by itself'],
    act: (run) => run.cut('high', 'reset', 'refused'),
    codes: gone,
    end: 'alarm',
    only: 'tcp',
    told: cut,
  },
  {
    // The system gives it no more than it has, and it wants more: the allocation that fails ends it, by SIGABRT or SIGSEGV, or it collects
    // until it has been silent for too long.
    name: 'memory refused to the controller',
    in_detail: ['tests/wire/supervisor.test.ts', 'has them off when the controller breaks'],
    act: (run) => {
      run.refuseMemory('controller')
    },
    codes: lost,
    end: 'confirmed',
  },
]
