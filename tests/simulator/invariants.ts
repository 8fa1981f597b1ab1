import type { Bench } from '../../src/bench/index.js'
import type { Plan } from '../../src/plan/index.js'
import { replayExactly } from '../../src/replay/index.js'
import type { Command, Event, State } from '../../src/sequencer/index.js'
import type { RunEnding, RunEntry } from '../../src/story/index.js'
import type { VirtualBench } from '../../src/virtual/index.js'
import { DeadManWatched } from './dead-man.js'
import { excuse, type Left } from './excuses.js'
import type { Mischief } from './nemesis.js'
import type { Observer } from './observer.js'

/** What takes the bias away by itself: a supply or lead that fails, a word that became another on its way. */
const bias_goes = ['bias', 'low', 'garble to supply', 'mains dip', 'supply resets']
/** OFF has so long to be obeyed before the relay is left to open, and a moment more to be seen, s. */
const relay_obeys_s = 5.5
/** More than a proof of a few volts puts on HT. */
const proofs_V = 8
/** So long the faults must have been over for a run to have come to a good end. */
const calm_for_us = 5_000_000

/** What must hold at every step of every run, held against the truth of the world and against every command. */
export class Invariants {
  /** OFFs that went out at first look. */
  first_looks = 0
  readonly broken: { invariant: string; t_s: number; text: string }[] = []
  private begun = false
  private off_us: number | null = null
  private alarms = 0
  private taken_over: boolean | null = null
  private left: Left | null = null
  private readonly set_V = new Map<string, number>()
  private readonly limit_A = new Map<string, number>()
  private intent: number | null = null
  private readonly recorded = new Set<number>()
  private readonly heard_us = new Map<string, number>()
  private on_us: number | null = null
  private bias_was_on = false
  /** Until when HT's own line did not carry, or not at its time. */
  private disturbed_us = -Infinity
  /** Until when a line was pulled: it may be away for longer than anything else is done. */
  private lines_back_us = 0
  private off_since_us: number | null = null
  private left_since_us: number | null = null
  /** Since when something was known that must end a run, and what. */
  private ends: { readonly what: string; readonly t_us: number } | null = null
  private unjudged_since_us: number | null = null
  /** Since when an output is heard to be on that this run has not switched. */
  private found_us: number | null = null
  private readonly found = new Set<string>()
  /** HT has stood above what may be touched. */
  risen = false
  /** How long a cut-off relay stays closed without being fed; null where there is none. */
  private readonly relay_s: number | null
  private readonly dead_man: DeadManWatched | null
  /** Of the highest step. */
  private readonly top_V: number
  private readonly hot: string
  private readonly hot_port: string
  private readonly bias: string

  constructor(
    private readonly plan: Plan,
    bench: Bench,
    private readonly world: VirtualBench,
    private readonly nemesis: Mischief,
    private readonly observer: Observer,
  ) {
    const channelOf = (role: string): string =>
      Object.values(plan.rails).find((rail) => rail.role === role)?.channels[0]?.channel ?? ''
    this.hot = channelOf('HT')
    this.bias = channelOf('bias')
    this.relay_s = bench.cut_off?.after_s ?? null
    this.top_V = Math.max(...plan.steps.map((step) => (step.rail === 'HT' ? step.target_V : 0)))
    this.hot_port = this.hot.split('.')[0] ?? ''
    const dead_man = bench.supplies[this.hot_port]?.dialect.dead_man ?? null
    this.dead_man = dead_man === null ? null : new DeadManWatched(this.hot_port, dead_man)
  }

  /** When everything was first put off, or a trip was told. */
  get offAt_us(): number | null {
    return this.off_us
  }

  broke(invariant: string, t_us: number, text: string): void {
    if (this.broken.some((each) => each.invariant === invariant)) return
    this.broken.push({ invariant, t_s: t_us / 1e6, text })
  }

  fed(event: Event, t_us: number): void {
    if (event.kind === 'begin') this.begun = true
    if (event.kind === 'recorded') this.recorded.add(event.intent)
    if (event.kind === 'reading') this.heard_us.set(`${event.channel}.${event.quantity}`, t_us)
    if (event.kind === 'output' && event.on && !this.begun) {
      this.found_us ??= t_us
      this.found.add(event.channel)
    }
    if (event.kind === 'recorder lost' || event.kind === 'parent lost') this.mustEnd(event.kind, t_us)
  }

  /** A first look has written OFF. */
  lookedFirst(): void {
    this.first_looks++
  }
  /** The input behind a first look's OFF was judged: it ends the run there and then, and for the current that was seen. */
  judgedBehind({ phase, off }: State, t_us: number): void {
    const { code = 'nothing', text = '' } = off?.reason ?? {}
    // A bias that is found lost behind that current is the reason then, and names the current.
    const behind = code === 'bias-low' && text.includes('at the same moment')
    // A clock that stepped back in between: nothing of that moment can be judged any more, and that is the reason.
    const clockless = code === 'invariant' && text.startsWith('Time ran backwards')
    if (phase === 'running' || (code !== 'over-ceiling' && !behind && !clockless))
      this.broke(
        "a first look's OFF ends that run in the same step, with over-ceiling",
        t_us,
        `${phase}: ${code}`,
      )
  }

  /** Before a tick is fed. */
  ticked({ late_us, slept_us }: { late_us: number; slept_us: number }, t_us: number, state: State): void {
    if (state.phase !== 'running') return
    if (late_us > 500_000) this.mustEnd(`a tick ${(late_us / 1e6).toFixed(1)} s late`, t_us)
    if (slept_us > 500_000) this.mustEnd('the computer slept', t_us)
  }
  private mustEnd(what: string, t_us: number): void {
    if (this.begun) this.ends ??= { what, t_us }
  }

  command(command: Command, t_us: number, state: State): void {
    if (command.kind === 'alarm') this.alarms++
    if (command.kind === 'urgent off') this.off_us ??= t_us
    if (command.kind === 'record') {
      if (command.entry.what === 'intent') {
        this.intent = command.entry.intent
        this.observer.intends(command.entry.step, t_us)
      }
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
  /** How each rail stood when whoever made safe had done. */
  madeSafe(left: Left): void {
    this.left = left
  }

  /** `awake`: the controller can act; `watched`: its supervisor can. */
  atTick(
    t_us: number,
    state: State,
    { awake, watched, ht_V }: { readonly awake: boolean; readonly watched: boolean; readonly ht_V: number },
  ): void {
    this.relay(t_us, awake)
    const { outputs } = this.world.truth()
    const on = outputs[this.hot] === true
    this.on_us = on ? (this.on_us ?? t_us) : null
    const bias_on = outputs[this.bias] === true
    if (this.bias_was_on && !bias_on && ht_V > 60 && !this.touched(...bias_goes))
      this.broke(
        'bias never goes before HT',
        t_us,
        `HT ${on ? 'is on and ' : ''}stands at ${ht_V.toFixed(0)} V`,
      )
    this.bias_was_on = bias_on
    if (awake && state.phase === 'running' && this.ends !== null && t_us > this.ends.t_us + 100_000)
      this.broke('what must end a run ends it at once', t_us, this.ends.what)
    if (awake && state.phase === 'running' && this.off_us !== null)
      this.broke('a trip is latched', t_us, 'the run goes on')
    // What is told OFF over a line that works is off soon, whoever tells it.
    this.off_since_us = on && awake && this.off_us !== null ? (this.off_since_us ?? t_us) : null
    if (this.carried_us(this.off_since_us, t_us) > 2e6 && !this.deaf())
      this.broke('HT is off within 2 s of its OFF', t_us, `${ht_V.toFixed(0)} V`)
    this.left_since_us = on && !awake && watched && this.begun ? (this.left_since_us ?? t_us) : null
    if (this.carried_us(this.left_since_us, t_us) > 3e6 && !this.deaf())
      this.broke('HT of a lost controller is off within 3 s', t_us, `${ht_V.toFixed(0)} V`)
    if (this.found_us !== null && awake) {
      if (this.off_us === null && t_us > this.found_us + 100_000)
        this.broke('what is found on is put off at once', t_us, 'nothing was told')
      if (state.phase === 'running')
        this.broke('nothing begins over outputs that were found on', t_us, 'it runs')
    }
    this.risen ||= ht_V > 60
    this.byDeadMan(t_us, ht_V, on)
    // Only a message that another message became on its way can make more of it than was sent; the supply's own level bounds that.
    if (ht_V > this.top_V + 6 && !this.touched('garble to supply', 'HT:swapped'))
      this.broke('HT never stands above its highest step', t_us, `${ht_V.toFixed(1)} V`)
    // With a few volts on it its dead-man is let run out: then its whole line says nothing.
    const starved = state.part === 'prove watch' && ht_V <= proofs_V
    if (awake && state.phase === 'running' && this.on_us !== null && !starved) {
      // While it is told to go on its line has no time for readings; from the first one on they may not stop.
      const heard_us = this.heard_us.get(`${this.hot}.A`) ?? 0
      const age_us = t_us - Math.max(this.on_us, heard_us)
      const slack_s = heard_us > this.on_us ? 0.3 : 1.5
      const stale_s = this.plan.rails['HT']?.stale_s ?? this.plan.stale_s
      if (age_us > (stale_s + slack_s) * 1e6)
        this.broke('every energised moment has a fresh reading', t_us, `${(age_us / 1e6).toFixed(1)} s old`)
    }
  }

  /** A line was pulled; until then. */
  pulled(port: string, until_us: number): void {
    this.lines_back_us = Math.max(this.lines_back_us, until_us)
    this.disturbed(port, until_us)
  }

  /** Something became of what was said over this line, or of a clock that it is said by; until then. */
  disturbed(port: string, until_us: number): void {
    if (port === this.hot_port) this.disturbed_us = Math.max(this.disturbed_us, until_us)
  }

  /** A message is at the supply. */
  arrives(port: string, text: string, t_us: number): void {
    this.dead_man?.arrives(port, text, t_us)
  }

  /** What nobody feeds goes off by itself, and was seen to do so before anything rose. */
  private byDeadMan(t_us: number, ht_V: number, on: boolean): void {
    if (this.dead_man === null) return
    const alone_s = this.dead_man.unfed_s(t_us, on)
    if (
      alone_s > 0.2 &&
      !this.touched('HT:ignores-off', 'high:ignores-off', 'high:no-protection', 'line.high:another')
    )
      this.broke('HT that nobody feeds goes off by its dead-man', t_us, `${alone_s.toFixed(1)} s late`)
    const said = ['garble to supply', 'HT:swapped', 'left on']
    if (
      this.plan.unattended !== undefined &&
      ht_V > proofs_V &&
      !this.dead_man.fired &&
      !this.touched(...said)
    )
      this.broke('nothing rises before its dead-man was seen to fire', t_us, `${ht_V.toFixed(0)} V`)
  }

  /** As the question goes out that feeds a relay: one that is open by now would be closed by it. */
  feedsRelay(t_us: number): void {
    const { relay } = this.world.truth()
    if (relay === null || relay.closed || relay.behind_V < 6 || this.touched('input.cut-off', 'garble to'))
      return
    this.broke(
      'the cut-off relay closes only over outputs that are off',
      t_us,
      `${relay.behind_V.toFixed(0)} V behind it`,
    )
  }

  /** Open until a run begins, fed by nobody but the loop that judges, and open over what does not obey. */
  private relay(t_us: number, judges: boolean): void {
    if (this.relay_s === null) return
    const { relay } = this.world.truth()
    if (relay === null || this.touched('input.cut-off:closed')) return
    if (relay.closed && !this.begun)
      this.broke('the cut-off relay is open until a run begins', t_us, 'it is closed')
    this.unjudged_since_us = judges ? null : (this.unjudged_since_us ?? t_us)
    const alone_us = t_us - (this.unjudged_since_us ?? t_us)
    if (relay.closed && alone_us > (this.relay_s + 0.1) * 1e6 && !this.touched('delay to supply'))
      this.broke(
        'a cut-off relay that no loop judges by opens',
        t_us,
        `${(alone_us / 1e6).toFixed(1)} s after`,
      )
    const told_us = t_us - (this.off_us ?? t_us)
    const lies = ['delay to supply', 'garble to', 'clock jumps']
    if (
      relay.closed &&
      told_us > (relay_obeys_s + this.relay_s) * 1e6 &&
      relay.behind_V > 6 &&
      !this.touched(...lies)
    )
      this.broke(
        'what does not obey OFF is cut by the relay',
        t_us,
        `${relay.behind_V.toFixed(0)} V ${(told_us / 1e6).toFixed(1)} s after OFF`,
      )
  }

  atEnd(t_us: number, ending: RunEnding | null, how: string, entries: readonly RunEntry[]): void {
    const { outputs, rails } = this.world.truth()
    const lasting = this.lasting()
    // At the end of a line that was plugged elsewhere before anything began nobody can know of it; where another output was found on,
    // nothing was switched on either.
    const unseen = (name: string): boolean =>
      !this.found.has(name) &&
      this.touched('left on') &&
      lasting.some((fault) => fault.startsWith(`line.${name.split('.')[0] ?? ''}:another`))
    const live = Object.entries(outputs).filter(([name, on]) => on && !unseen(name))
    const said =
      this.taken_over ?? (ending?.outputs_off === 'confirmed' ? true : ending === null ? null : false)
    const left = this.left ?? (ending?.details['off'] as Left | undefined) ?? {}
    // Below 5 V without current nothing tells an output that is on from a charge, and the record says so.
    const doubted = (name: string): boolean =>
      Object.values(this.plan.rails).some(
        ({ name: rail, channels }) =>
          channels.some(({ channel }) => channel === name) &&
          left[rail]?.how.endsWith('on after all') === true,
      )
    const on = live.filter(([name]) => !doubted(name))
    if (said === true && on.length > 0)
      this.broke(
        'confirmed off is off',
        t_us,
        `${on.map(([name]) => name).join(', ')} on; HT ${(rails['HT']?.volts ?? 0).toFixed(1)} V`,
      )
    if (said === false && this.alarms === 0)
      this.broke('outputs not confirmed off sound the alarm', t_us, how)
    // What ended while the faults went on, or as they ceased, has the alarm.
    const calm = t_us >= Math.max(this.nemesis.calm_us, this.lines_back_us) + calm_for_us
    if (said === false && calm)
      for (const [rail, { confirmed, how: why }] of Object.entries(left))
        if (!confirmed && excuse(this.plan, left, rail, lasting) === null)
          this.broke(
            'once the faults are over the outputs are confirmed off',
            t_us,
            `${rail}: ${why}; ${how}`,
          )
    // The program's own guards never have anything to do; that time ran back is told by the same code, and is none of its doing.
    const { code, text: why = '' } = ending?.reason ?? {}
    if (code === 'invariant' && !why.startsWith('Time ran backwards'))
      this.broke('the program’s own guards find nothing', t_us, why)
    if (ending !== null && ending.outcome !== 'completed' && ending.reason === null)
      this.broke('a run that did not complete says why', t_us, ending.outcome)
    // What was on before, and was never heard to be, is as somebody left it.
    const left_on = this.touched('left on') && this.found_us === null
    if ((how === 'not reachable' || how === 'never began') && live.length > 0 && !left_on)
      this.broke('what was not reachable was not energised', t_us, live.map(([name]) => name).join(', '))
    const { difference, gap, ends_early } = replayExactly(this.plan, entries, 'controller')
    // Who was killed told no ending, and every decision up to there.
    if (difference !== null || (gap !== null && ends_early !== 0))
      this.broke('a replay decides the same', t_us, JSON.stringify({ difference, gap }))
  }

  private touched(...kinds: readonly string[]): boolean {
    return [...this.nemesis.injected.keys()].some((kind) => kinds.some((each) => kind.startsWith(each)))
  }
  /** How long HT's line has carried all that was said over it, at its time, since then. */
  private carried_us(since_us: number | null, t_us: number): number {
    return since_us === null ? 0 : t_us - Math.max(since_us, this.disturbed_us)
  }
  /** A supply that does not obey by now, or is spoken to in vain. */
  private deaf(): boolean {
    const disobeys = [
      'HT:ignores-off',
      `${this.hot_port}:ignores-off`,
      `${this.hot_port}:local`,
      `line.${this.hot_port}:`,
    ]
    return this.world.faults().some((fault) => disobeys.some((each) => fault.startsWith(each)))
  }

  /** What is wrong for good: the world's own faults that have begun, and calls that fail from some moment on. */
  private lasting(): readonly string[] {
    return [
      ...this.world.faults(),
      ...[...this.nemesis.injected.keys()].filter((kind) => kind.startsWith('for good: ')),
    ]
  }
}
