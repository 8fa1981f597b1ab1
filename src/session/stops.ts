import type { Supervisor } from '../controller/index.js'

/**
 * Every stop of a start, from whoever, from its first moment to the run's end. Before the word is typed it gives up; from that
 * very moment on it is a stop of the run, also while there is none yet. After one nothing may begin to energise.
 */
export class Stops {
  private acknowledged = false
  private wanted: { readonly by: string; readonly now: boolean } | null = null
  private readonly leaving = new AbortController()
  private run: Supervisor | null = null
  private any = false

  constructor(private readonly told: (text: string) => void) {}

  /** Somebody stopped, before or during the run. */
  stopped(): boolean {
    return this.any
  }

  /** Aborted at a stop before the word was typed: there is nothing to wait for any more. */
  get givenUp(): AbortSignal {
    return this.leaving.signal
  }

  wordTyped(): void {
    this.acknowledged = true
  }

  /** From now on stops go to the run; one already asked for is passed on first. */
  follow(run: Supervisor): void {
    this.run = run
    if (this.wanted !== null) run.stop(this.wanted.by, this.wanted.now)
  }

  /** `now`: outputs off at once; otherwise the first runs down and every later one is "off now". */
  stop(by: string, now: boolean): void {
    const again = this.any
    this.any = true
    if (this.run !== null) {
      // First the act, then words about it.
      this.run.stop(by, now)
      this.told(`${by}: ${now ? 'outputs off now' : 'run down (again: outputs off now)'}.`)
    } else if (this.acknowledged) {
      this.told(`${by}: stop before the start; nothing more is energised.`)
      this.wanted = { by, now: now || again }
    } else {
      this.told(`${by}: given up, no run begins.`)
      this.leaving.abort()
    }
  }
}
