import type { Plan } from '../../src/plan/index.js'
import { replayExactly } from '../../src/replay/index.js'
import type { Command, Event, State } from '../../src/sequencer/index.js'
import type { RunEnding, RunEntry } from '../../src/story/index.js'
import type { VirtualBench } from '../../src/virtual/index.js'
import type { Mischief } from './nemesis.js'

/** What must hold at every step of every run, held against the truth of the world and against every command. */
export class Invariants {
  readonly broken: { invariant: string; t_s: number; text: string }[] = []
  private begun = false
  private off_us: number | null = null
  private alarms = 0
  private taken_over: boolean | null = null
  private readonly set_V = new Map<string, number>()
  private readonly limit_A = new Map<string, number>()
  private intent: number | null = null
  private readonly recorded = new Set<number>()
  private readonly heard_us = new Map<string, number>()
  private on_us: number | null = null
  private bias_was_on = false
  private readonly hot: string
  private readonly bias: string

  constructor(
    private readonly plan: Plan,
    private readonly world: VirtualBench,
    private readonly nemesis: Mischief,
  ) {
    const channelOf = (role: string): string =>
      Object.values(plan.rails).find((rail) => rail.role === role)?.channels[0]?.channel ?? ''
    this.hot = channelOf('HT')
    this.bias = channelOf('bias')
  }

  /** When everything was first put off, or a trip was told. */
  get offAt_us(): number | null {
    return this.off_us
  }

  broke(invariant: string, t_us: number, text: string): void {
    if (this.broken.some((each) => each.invariant === invariant)) return
    this.broken.push({ invariant, t_s: t_us / 1e6, text })
  }

  fed(event: Event): void {
    if (event.kind === 'begin') this.begun = true
    if (event.kind === 'recorded') this.recorded.add(event.intent)
    if (event.kind === 'reading') this.heard_us.set(`${event.channel}.${event.quantity}`, event.t_us)
  }

  command(command: Command, t_us: number, state: State): void {
    if (command.kind === 'alarm') this.alarms++
    if (command.kind === 'urgent off') this.off_us ??= t_us
    if (command.kind === 'record') {
      if (command.entry.what === 'intent') this.intent = command.entry.intent
      if (command.entry.what === 'trip' || command.entry.what === 'off') this.off_us ??= t_us
    }
    if (command.kind !== 'line') return
    const { channel } = command
    const raises =
      command.do === 'on' ||
      (command.do === 'set' && command.volts > (this.set_V.get(channel) ?? 0)) ||
      (command.do === 'limits' && command.limit_A > (this.limit_A.get(channel) ?? 0))
    if (command.do === 'set') this.set_V.set(channel, command.volts)
    if (command.do === 'limits') this.limit_A.set(channel, command.limit_A)
    if (!raises) return
    if (!this.begun) this.broke('nothing energises before the cautions', t_us, `${command.do} ${channel}`)
    if (this.off_us !== null) this.broke('nothing rises after a trip', t_us, `${command.do} ${channel}`)
    if (this.intent === null || !this.recorded.has(this.intent))
      this.broke('the intent of a raise is in the record before it', t_us, `${command.do} ${channel}`)
    if (command.do === 'set' && command.volts > 60 && state.prompt !== null)
      this.broke('nothing rises while a question is open', t_us, `${channel} to ${command.volts} V`)
    const rail = Object.values(this.plan.rails).find(({ channels }) =>
      channels.some((each) => each.channel === channel),
    )
    if (command.do === 'set' && rail !== undefined && command.volts > rail.max_V)
      this.broke('no set-point above the rail’s own most', t_us, `${channel} to ${command.volts} V`)
  }

  alarmed(): void {
    this.alarms++
  }
  takenOver(confirmed: boolean): void {
    this.taken_over = confirmed
  }

  atTick(t_us: number, state: State, awake: boolean): void {
    const { outputs, rails } = this.world.truth()
    const ht_V = Math.abs(rails['HT']?.volts ?? 0)
    const on = outputs[this.hot] === true
    this.on_us = on ? (this.on_us ?? t_us) : null
    // A supply or lead that fails by itself, or a word that became another on its way, is another matter.
    const bias_on = outputs[this.bias] === true
    if (this.bias_was_on && !bias_on && ht_V > 60 && !this.touched('bias', 'low', 'garble to supply'))
      this.broke(
        'bias never goes before HT',
        t_us,
        `HT ${on ? 'is on and ' : ''}stands at ${ht_V.toFixed(0)} V`,
      )
    this.bias_was_on = bias_on
    // Only a message that another message became on its way can make more of it than was sent; the supply's own level bounds that.
    const top_V = Math.max(...this.plan.steps.map((step) => (step.rail === 'HT' ? step.target_V : 0)))
    if (ht_V > top_V + 6 && !this.touched('garble to supply', 'HT:swapped'))
      this.broke('HT never stands above its highest step', t_us, `${ht_V.toFixed(1)} V`)
    if (awake && state.phase === 'running' && this.on_us !== null) {
      const last_us = Math.max(this.on_us, this.heard_us.get(`${this.hot}.A`) ?? 0)
      if (t_us - last_us > (this.plan.stale_s + 1.5) * 1e6)
        this.broke(
          'every energised moment has a fresh reading',
          t_us,
          `${((t_us - last_us) / 1e6).toFixed(1)} s old`,
        )
    }
  }

  atEnd(t_us: number, ending: RunEnding | null, how: string, entries: readonly RunEntry[]): void {
    const { outputs, rails } = this.world.truth()
    const live = Object.entries(outputs).filter(([, on]) => on)
    const said =
      this.taken_over ?? (ending?.outputs_off === 'confirmed' ? true : ending === null ? null : false)
    if (said === true && live.length > 0)
      this.broke(
        'confirmed off is off',
        t_us,
        `${live.map(([name]) => name).join(', ')} on; HT ${(rails['HT']?.volts ?? 0).toFixed(1)} V`,
      )
    if (said === false && this.alarms === 0)
      this.broke('outputs not confirmed off sound the alarm', t_us, how)
    if (said === false && !this.sticks())
      this.broke('once the faults are over the outputs are confirmed off', t_us, how)
    if (ending !== null && ending.outcome !== 'completed' && ending.reason === null)
      this.broke('a run that did not complete says why', t_us, ending.outcome)
    if (how === 'not reachable' && live.length > 0)
      this.broke('what was not reachable was not energised', t_us, live.map(([name]) => name).join(', '))
    const { difference, gap } = replayExactly(this.plan, entries, 'controller')
    if (difference !== null || gap !== null)
      this.broke('a replay decides the same', t_us, JSON.stringify({ difference, gap }))
  }

  private touched(...kinds: readonly string[]): boolean {
    return [...this.nemesis.injected.keys()].some((kind) => kinds.some((each) => kind.startsWith(each)))
  }
  /** Faults of the supply or its line that no calm ends: then the alarm is the right end. */
  private sticks(): boolean {
    return this.touched(
      'HT:',
      'bias:',
      'heaters:',
      'high',
      'low',
      'line.',
      'for good: ',
      'input.',
      'C1',
      'C2',
      'R4',
      'R5',
      'R1',
    )
  }
}
