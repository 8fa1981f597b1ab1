import type { DeadMan } from '../../src/bench/index.js'

/** The dead-man of the supply of HT, from what arrives there and from whether its output is on. */
export class DeadManWatched {
  private armed = false
  private fed_us = 0
  private readonly feeds: readonly string[]
  /** Its time ran out and the output was off then: it switched that off, or says that it fired where a dip of the mains had been there before. */
  fired = false

  constructor(
    private readonly port: string,
    private readonly of: DeadMan,
  ) {
    const arms = of.arm.at(-1) ?? ''
    this.feeds = of.feed === null ? [arms] : [arms, of.feed]
  }

  arrives(port: string, text: string, t_us: number): void {
    if (port !== this.port || !this.feeds.some((words) => text.includes(words))) return
    this.armed = true
    this.fed_us = t_us
  }

  /** How long its output has been on beyond the time it stays so unfed, s; called at every tick. */
  unfed_s(t_us: number, on: boolean): number {
    const alone_s = (t_us - this.fed_us) / 1e6 - this.of.after_s
    // A tick is between what happens and what is seen of it.
    if (!on && this.armed && alone_s > -0.1) this.fired = true
    return on && this.armed ? alone_s : 0
  }
}
