/**
 * The virtual bench: supplies that speak their dialect on ports, and a set behind them that warms, charges, conducts and fails.
 * Time is given, never taken. The same object serves rehearse (virtual time) and the virtual-bench process (real time).
 */
export interface VirtualBench {
  /** Advance the world to this time (µs, never backwards). */
  advance(t_us: number): void
  /** Text arriving at a port (any chunking). Replies come out of `take`. */
  receive(port: string, text: string, t_us: number): void
  /** Reply text now due on this port (several replies may be joined), with when it is due; empties what it returns. */
  take(port: string, t_us: number): string
  /** Earliest time at which `take` on any port will have something; null = nothing pending. */
  next_us(): number | null
  /** Ports on which `take` has something by then. */
  due(t_us: number): readonly string[]
  ports(): readonly string[]
  /** What a hand meter of this resistance, clipped at a node against another, would show now. */
  probe(node: string, against: string, ohm: number): number
  /**
   * What an ohmmeter at the lead ends of this rail would show, supply off and still clipped on; infinite when open. Of a resistor
   * by its name: with one of its ends free.
   */
  ohms(rail: string): number
  /** Truth for tests and for the "virtual meter shows" line, as it stands when each is asked for; never given to the sequencer. */
  truth(): {
    readonly volts: Readonly<Record<string, number>>
    readonly rails: Readonly<Record<string, { readonly volts: number; readonly amps: number }>>
    readonly outputs: Readonly<Record<string, boolean>>
    /** A cut-off relay, and what its supplies would give through it; null where the bench has none. */
    readonly relay: { readonly closed: boolean; readonly behind_V: number } | null
  }
  /** What the set's own grid-current meter of a tube shows. */
  grid_A(tube: string): number
  /** A person's knob: watched and hand rails (volts at the rail's terminals). */
  turn(rail: string, volts: number): void
  /**
   * A person joins the set to its own transformer (`set`), puts its rectifier back (`rectifier`), starts the outside timer of a supply
   * (`timer high 60` for so many seconds, `timer high` for the night), or exchanges a feed resistor (`feed C5 33000`).
   */
  fit(what: string): void
  /** A person takes a lifted electrolytic off its feed resistor. */
  lift(part: string): void
  /** Set controls to a mode (what the person does when asked). */
  mode(mode: string): void
  /** A person clears the latches of an output (`SUPPLY.CHANNEL`) at its front panel, its output off. */
  clear(output: string): void
  /** The plan's step now running, told by whoever runs the plan: only faults that wait for a step use it. */
  step(step: number): void
  /** Faults now active, in their own words. */
  faults(): readonly string[]
}

/** `PART:KIND[=VALUE]@WHEN`, WHEN `t>600s`, `step=4`, `RAIL>150V`, or absent = from the start. */
export interface FaultSpec {
  readonly part: string
  readonly kind: string
  /** Ohm, seconds or a factor, by kind; null = the kind's own default. */
  readonly value: number | null
  /** The other rail of `swapped=OTHER`. */
  readonly other: string | null
  readonly when:
    | { readonly kind: 'always' }
    | { readonly kind: 'time'; readonly after_us: number }
    | { readonly kind: 'step'; readonly step: number }
    | { readonly kind: 'volts'; readonly rail: string; readonly above_V: number }
  readonly text: string
}

/**
 * One output of a virtual supply, shared by the device that speaks (its words set and read it) and the world behind it
 * (which moves what is measured). Volts are V(positive terminal) − V(negative terminal).
 */
export interface OutputFace {
  set_V: number
  limit_A: number
  over_V: number | null
  over_V_on: boolean
  /** As commanded; a supply that ignores OFF stays live all the same. */
  on: boolean
  /** Its protections and its dead-man are set and read back, and never act. */
  inert?: boolean
  tripped: 'over-voltage' | 'over-current' | 'over-temperature' | null
  /** What it is told to set, times this. */
  mis_sets?: number
  /** What it says it measures instead of what it measures. */
  reads?: { readonly V?: number; readonly A?: number }
  /** Read-back with offset, noise and resolution already in it. */
  measured_V: number
  measured_A: number
  limiting: boolean
}
