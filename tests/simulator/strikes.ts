import { cutOffName } from '../../src/bench/to-cut-off.js'
import type { Mischief, NemesisKind } from './nemesis.js'
import type { Recording } from './recording.js'

/** A run as what happens to it once sees it: processes, computer, disk and lines, each with what can befall it. */
export interface Struck {
  readonly nemesis: Mischief
  readonly recording: Recording
  readonly ports: readonly string[]
  /** Of the ports those with outputs. */
  readonly supplies: readonly string[]
  readonly now_us: number
  /** Does this after so long; `later` for what is to happen once HT stands high. */
  later(after_us: number, act: () => void): void
  onceHigh(after_us: number, act: () => void): void
  /** Notes that it strikes now; false where there is nothing left to strike. */
  strikes(kind: NemesisKind): boolean
  controllerStalls(for_us: number): void
  controllerHangs(): void
  controllerDies(how: string): void
  parentDies(): void
  powerCut(): void
  mainsDip(dark_us: number): void
  /** One supply alone loses its mains for a moment, and with it all that it was set to. */
  supplyResets(port: string, dark_us: number): void
  clockJumps(by_us: number): void
  sleeps(for_us: number): void
  unplugged(port: string, for_us: number): void
  /** One reading of HT's current that no ceiling allows. */
  flashes(): void
  stop(): void
}

/** In so many runs. */
const flashes_part = 0.08
const resets_part = 0.06

/** Things that happen once, at their moment. */
export function appoint(run: Struck): void {
  const { nemesis, recording } = run
  const at = (kind: NemesisKind, act: () => void): void => {
    const strike = (): void => {
      if (run.strikes(kind)) act()
    }
    const moment = nemesis.moment(kind)
    const after_us = nemesis.high(kind)
    if (moment !== null) run.later(moment, strike)
    if (after_us !== null) run.onceHigh(after_us, strike)
  }
  at('controller stalls', () => {
    run.controllerStalls(nemesis.between('stall', 10_000, 10_000_000))
  })
  at('controller hangs', () => {
    run.controllerHangs()
  })
  at('controller killed', () => {
    run.controllerDies('killed')
  })
  at('parent killed', () => {
    run.parentDies()
  })
  at('power cut', () => {
    run.powerCut()
  })
  at('mains dip', () => {
    run.mainsDip(nemesis.between('dip', 50_000, 3_000_000))
  })
  at('clock jumps', () => {
    const by_us = nemesis.between('jump', 10_000, 10_000_000)
    run.clockJumps(nemesis.dice('jump') < 0.5 ? by_us : -by_us)
  })
  at('machine sleeps', () => {
    run.sleeps(nemesis.between('sleep', 1_000_000, 60_000_000))
  })
  at('recorder lost', () => {
    recording.kill(run.now_us)
  })
  at('recorder hangs', () => {
    recording.hang(nemesis.between('hang', 100_000, 30_000_000))
  })
  at('disk stalls', () => {
    recording.stall(nemesis.between('stall of the disk', 1_000_000, 30_000_000))
  })
  at('unplugged line', () => {
    const port = nemesis.pick('unplug', run.ports)
    if (port !== undefined) run.unplugged(port, nemesis.between('unplug', 100_000, 30_000_000))
  })
  at('stop', () => {
    run.stop()
  })
  at('stop twice', () => {
    run.stop()
    run.later(nemesis.between('stop', 1000, 5_000_000), () => {
      run.stop()
    })
  })
  const flash = (): void => {
    if (run.strikes('reading too high')) run.flashes()
  }
  // Wherever a run has HT up: long before as well as in its highest step.
  if (!nemesis.without.has('reading too high') && nemesis.dice('flash') < flashes_part) {
    const after_us = nemesis.between('flash', 10_000, 10_000_000)
    if (nemesis.dice('flash') < 0.7) run.onceHigh(after_us, flash)
    else run.later(nemesis.dice('flash') * nemesis.calm_us, flash)
  }
  const reset = (): void => {
    const port = nemesis.pick('blink', run.supplies)
    if (port !== undefined && run.strikes('supply resets'))
      run.supplyResets(port, nemesis.between('blink', 50_000, 5_000_000))
  }
  if (!nemesis.without.has('supply resets') && nemesis.dice('blink') < resets_part) {
    if (nemesis.dice('blink') < 0.4) run.onceHigh(nemesis.between('blink', 10_000, 10_000_000), reset)
    else run.later(nemesis.dice('blink') * nemesis.calm_us, reset)
  }
  // A cut-off relay that lost its line has opened: over what does not obey it may not be closed again.
  const disobeys = [...nemesis.injected.keys()].some((kind) => kind.endsWith(':ignores-off'))
  if (!run.ports.includes(cutOffName) || !disobeys || nemesis.without.has('unplugged line')) return
  if (nemesis.dice('relay line') >= 0.5) return
  run.onceHigh(nemesis.between('relay line', 10_000, 5_000_000), () => {
    if (run.strikes('unplugged line'))
      run.unplugged(cutOffName, nemesis.between('relay line', 3_000_000, 7_000_000))
  })
}
