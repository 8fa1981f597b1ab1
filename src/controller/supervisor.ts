import { type ChildProcess, fork } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import { Subject } from 'rxjs'
import type { LineHealth } from '../exchange/index.js'
import type { LineConfig } from '../line/index.js'
import type { Ask, Plan } from '../plan/index.js'
import { connectRecorder, jsonLines, type RecorderClient } from '../record/client.js'
import { type Fallback, openFallback, startRecorder } from '../record/index.js'
import type { View } from '../sequencer/index.js'
import { happened, type Known, type RunEnding, runEnding, type RunEntry, streamsOf } from '../story/index.js'
import { openSpare, type PortLine, type SpareLine } from '../supply/index.js'
import { knownBy, makeSafe } from './make-safe.js'
import { type FromController, fromControllerShape, type ToController } from './messages.js'
import { atOnce } from './off-at-once.js'
import type { SafeOffResult } from './safe-off.js'
import {
  type SuperviseAct,
  superviseBegin,
  type SuperviseInput,
  type SuperviseResult,
  superviseStep,
} from './supervise.js'

/** What a run needs that only the one who starts it knows. */
export interface RunJob {
  readonly plan: Plan
  readonly configs: readonly LineConfig[]
  readonly places: Readonly<Record<string, PortLine>>
  /** Identities are added once the supplies have told them. */
  readonly known: Known
  readonly run_file: string
  /** Bench seconds per real second. */
  readonly speed: number
  /** Awaited once the run has ended and its ending is told, while the record can still be written to; must be bounded. */
  readonly last_words?: () => Promise<void>
}

/** What others may show of a run; none of it decides. */
export type Shown =
  | { readonly kind: 'view'; readonly view: View }
  | { readonly kind: 'health'; readonly port: string; readonly health: LineHealth }
  | { readonly kind: 'prompt'; readonly prompt: number; readonly ask: Ask; readonly left_s: number }
  | { readonly kind: 'prompt closed'; readonly prompt: number; readonly why: string }
  | { readonly kind: 'notice' | 'alarm'; readonly text: string }
  | { readonly kind: 'hands clear'; readonly for_s: number }
  /** The controller is lost and the outputs go off without it: nobody waits for an answer any more. */
  | { readonly kind: 'taken over' }

/** How a run went, or why there was none. */
export type RunOutcome =
  | { readonly kind: 'ended'; readonly ending: RunEnding }
  | { readonly kind: 'not reachable'; readonly text: string }
  | { readonly kind: 'never began'; readonly text: string }

export interface Supervisor {
  readonly shown: Subject<Shown>
  /** Copies of what happened and how it ended, as the record has it; readings are not among them. Nothing decides by it. */
  readonly told: Subject<RunEntry>
  /** The run's clock, µs. */
  run_us(): number
  /** Supplies to which no spare connection is held, each with the reason. */
  spareTroubles(): readonly string[]
  /** Kept in the run's record. */
  note(what: string, text: string, data: Readonly<Record<string, unknown>>): void
  readonly controller_pid: number | null
  /** Settles when every supply has answered and nothing is energised; null = it will never be. */
  readonly ready: Promise<Readonly<Record<string, string>> | null>
  readonly finished: Promise<RunOutcome>
  /** The cautions were acknowledged: from here on the controller may energise. */
  begin(word: string, channel: 'terminal' | 'page', hooked_up_as_in: string | null): void
  answer(prompt: number, value: number | 'yes' | 'no' | 'go on', by: 'terminal' | 'page'): void
  stop(by: string, now: boolean): void
}

const tick_ms = 20

/** Starts recorder and controller, holds a spare way to every supply, and stays until the outputs are off. */
export async function supervise(job: RunJob): Promise<Supervisor | { readonly trouble: string }> {
  const started = await startRecorder({ file: job.run_file })
  if ('trouble' in started) return { trouble: started.trouble }
  return new RunningSupervisor(job, started.socket, () => started.end())
}

class RunningSupervisor implements Supervisor {
  readonly shown = new Subject<Shown>()
  readonly told = new Subject<RunEntry>()
  readonly ready: Promise<Readonly<Record<string, string>> | null>
  readonly finished: Promise<RunOutcome>
  private readonly recorder: RecorderClient
  private readonly spares = new Map<string, SpareLine>()
  private readonly controller: ChildProcess
  private readonly ticking: NodeJS.Timeout
  private readonly real_began = process.hrtime.bigint()
  private state = superviseBegin(0)
  private begun_us: number | null = null
  /** How far this clock is ahead of the controller's: the least that was seen, so without the way of a message. */
  private ahead_us: number | null = null
  private settleReady: (identities: Readonly<Record<string, string>> | null) => void = () => undefined
  private settleFinished: (outcome: RunOutcome) => void = () => undefined

  constructor(
    private readonly job: RunJob,
    recorderSocket: string,
    private readonly endRecorder: () => Promise<void>,
  ) {
    this.ready = new Promise((resolve) => {
      this.settleReady = resolve
    })
    this.finished = new Promise((resolve) => {
      this.settleFinished = resolve
    })
    this.recorder = connectRecorder(recorderSocket, 'supervisor', {
      recorded: () => undefined,
      trouble: (text) => {
        this.shown.next({ kind: 'alarm', text: `The record: ${text}` })
      },
    })
    this.recorder.append(streamsOf(job.plan).map((stream): RunEntry => ({ entry: 'stream', stream })))
    for (const [port, place] of Object.entries(job.places)) this.spares.set(port, openSpare(place))
    this.controller = this.forkController()
    this.tell({
      kind: 'start',
      plan: job.plan,
      lines: job.configs.flatMap((config) => {
        const place = job.places[config.port]
        return place === undefined ? [] : [{ config, place }]
      }),
      recorder: recorderSocket,
      speed: job.speed,
    })
    this.ticking = setInterval(() => {
      this.take({ kind: 'tick' })
      this.lookAtSpares()
    }, tick_ms)
  }

  get controller_pid(): number | null {
    return this.controller.pid ?? null
  }

  begin(word: string, channel: 'terminal' | 'page', hooked_up_as_in: string | null): void {
    this.begun_us = this.now_us()
    this.take({ kind: 'begun' })
    this.tell({ kind: 'begin', word, channel, hooked_up_as_in })
  }

  answer(prompt: number, value: number | 'yes' | 'no' | 'go on', by: 'terminal' | 'page'): void {
    this.tell({ kind: 'answer', prompt, value, by })
  }

  stop(by: string, now: boolean): void {
    this.take({ kind: 'stop', by, now })
  }

  /** Real time since the start, µs: what heartbeats are judged by. */
  private now_us(): number {
    return Number((process.hrtime.bigint() - this.real_began) / 1000n)
  }

  /** The same moment on the run's clock, for the record. */
  run_us(): number {
    return Math.round(this.now_us() * this.job.speed)
  }

  /** As the controller counts it, whose process began later: what is noted must not stand after what it led to. */
  private noted_us(): number {
    return Math.max(0, this.run_us() - (this.ahead_us ?? 0))
  }

  spareTroubles(): readonly string[] {
    const ports = new Set(this.job.plan.off.channels.map(({ port }) => port))
    return [...this.spares].flatMap(([port, { state }]) =>
      state === 'ready' || !ports.has(port)
        ? []
        : [`${port}: ${typeof state === 'string' ? 'it is not open yet' : state.text}`],
    )
  }

  private lacking: string | null = null

  /** A reserve that is lost in mid-run is told, and when it is there again: what takes over without one opens a port first. */
  private lookAtSpares(): void {
    if (this.begun_us === null) return
    const lacking = this.spareTroubles().join('; ')
    const before = this.lacking
    this.lacking = lacking
    if (before === null || before === lacking || this.state.phase !== 'running') return
    const text =
      lacking === ''
        ? 'A connection is held in reserve to each supply again.'
        : `No connection in reserve to ${lacking}. Were the controller lost now, its OFF would wait until the port is opened anew.`
    this.record('reserve', text)
    this.shown.next({ kind: 'notice', text })
  }

  note(what: string, text: string, data: Readonly<Record<string, unknown>>): void {
    this.recorder.append([happened(this.noted_us(), 'supervisor', what, text, data)])
  }

  /** Into the record, and to those who read along. */
  private record(what: string, text: string): void {
    const entry = happened(this.noted_us(), 'supervisor', what, text)
    this.recorder.append([entry])
    this.told.next(entry)
  }

  /** Detached and without our terminal: what stops us must not stop it with the rails on. */
  private forkController(): ChildProcess {
    const child = fork(fileURLToPath(new URL('./controller.process.js', import.meta.url)), [], {
      execPath: process.execPath,
      detached: true,
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
      env: { ...process.env, UV_THREADPOOL_SIZE: '16' },
    })
    child.on('message', (raw) => {
      const parsed = fromControllerShape.safeParse(raw)
      if (parsed.success) this.hear(parsed.data)
      else this.shown.next({ kind: 'notice', text: 'A message of the controller was not understood.' })
    })
    child.on('exit', (code, signal) => {
      const exited = (): void => {
        this.take({ kind: 'exited', how: signal ?? `exit code ${code ?? 'unknown'}` })
      }
      // After its ending only its last words are awaited, and they may be read later than its exit is seen. Otherwise nothing is.
      if (this.state.phase === 'ended by controller' && child.connected) child.once('disconnect', exited)
      else exited()
    })
    child.on('error', (error) => {
      this.take({ kind: 'exited', how: error.message })
    })
    return child
  }

  private tell(message: ToController): void {
    if (this.controller.connected) this.controller.send(message, () => undefined)
  }

  private hear(message: FromController): void {
    switch (message.kind) {
      case 'beat':
        this.take({ kind: 'beat' })
        return
      case 'ready':
        this.take({ kind: 'beat' })
        this.take({ kind: 'ready' })
        this.recorder.append([
          { entry: 'known', known: { ...this.job.known, identities: message.identities } },
        ])
        this.identities = message.identities
        this.settleReady(message.identities)
        return
      case 'found on':
        this.take({ kind: 'beat' })
        this.take({ kind: 'found on' })
        return
      case 'not reachable':
        this.take({ kind: 'not reachable', text: message.text, on: message.on })
        return
      case 'ended':
        this.take({ kind: 'ended', ending: message.ending })
        if (this.state.ending === message.ending)
          this.told.next({ entry: 'ending', t_us: message.t_us, ending: message.ending })
        return
      case 'told':
        this.ahead_us = Math.min(this.ahead_us ?? Infinity, this.run_us() - message.event.t_us)
        this.told.next({ entry: 'event', event: message.event })
        return
      case 'trouble':
        this.recorder.append([happened(this.run_us(), 'supervisor', 'trouble', message.text)])
        this.shown.next({ kind: 'notice', text: message.text })
        return
      case 'unrecorded':
        this.keepRest(message.lines)
        return
      case 'view':
        this.stepsDone = message.view.steps_done
        this.shown.next(message)
        return
      case 'health':
      case 'prompt':
      case 'prompt closed':
      case 'alarm':
      case 'notice':
      case 'hands clear':
        this.shown.next(message)
        return
    }
  }

  private fallback: Fallback | null = null

  /** Only ever after the controller has put everything off or was taken over: it may wait for a disk. */
  private keepRest(lines: string): void {
    if (this.fallback === null) {
      this.fallback = openFallback(this.job.run_file, 'unrecorded')
      const text = `What the recorder had not confirmed is kept in ${this.fallback.where}.`
      this.shown.next({ kind: 'alarm', text })
    }
    this.fallback.put(lines)
  }

  private take(input: Untimed<SuperviseInput>): void {
    const turn = superviseStep(this.state, { ...input, t_us: this.now_us() })
    this.state = turn.state
    for (const act of turn.acts) this.act(act)
  }

  private act(act: SuperviseAct): void {
    switch (act.do) {
      case 'beat':
        this.tell({ kind: 'beat' })
        return
      case 'send stop':
        this.tell({ kind: 'stop', how: act.how, by: act.by })
        return
      case 'off on spare':
        this.offOnSpares()
        this.shown.next({ kind: 'taken over' })
        return
      case 'kill':
        this.controller.kill('SIGKILL')
        return
      case 'make safe':
        void this.makeSafe()
        return
      case 'record':
        this.record(act.what, act.text)
        return
      case 'alarm':
      case 'notice':
        this.shown.next({ kind: act.do, text: act.text })
        return
      case 'finish':
        void this.finish(act.result)
        return
    }
  }

  /** Drive, screen and HT only; what is written was laid ready in the off plan. */
  private offOnSpares(): void {
    const refused: string[] = []
    for (const channel of atOnce(this.job.plan.off)) {
      if (this.spares.get(channel.port)?.writeNow(channel.off_text) !== true) refused.push(channel.channel)
    }
    if (refused.length > 0) {
      const text = `No spare connection took the OFF for ${refused.join(', ')}: it is sent as soon as the port opens.`
      this.recorder.append([happened(this.run_us(), 'supervisor', 'off', text)])
    }
  }

  private result: SafeOffResult | null = null
  /** What answered on each line: whoever takes over believes no other. */
  private identities: Readonly<Record<string, string>> = {}

  private async makeSafe(): Promise<void> {
    const result = await makeSafe(
      {
        off: this.job.plan.off,
        configs: knownBy(this.job.configs, this.identities),
        places: this.job.places,
        speed: this.job.speed,
        from_us: this.run_us(),
      },
      {
        told: (output, t_us) => {
          if (output.kind === 'alarm') {
            this.shown.next({ kind: 'alarm', text: output.text })
            return
          }
          const entry = happened(t_us, 'supervisor', output.what, output.text)
          this.recorder.append([entry])
          this.shown.next({ kind: 'notice', text: output.text })
        },
      },
    )
    this.result = result
    this.take({ kind: 'made safe', confirmed: result.outputs_off === 'confirmed', text: result.text })
  }

  private async finish(result: SuperviseResult): Promise<void> {
    clearInterval(this.ticking)
    const outcome = this.outcomeOf(result)
    if (result.kind === 'taken over' && outcome.kind === 'ended') {
      const ending: RunEntry = { entry: 'ending', t_us: this.run_us(), ending: outcome.ending }
      this.recorder.append([ending])
      this.told.next(ending)
    }
    await this.job.last_words?.()
    await this.recorder.close()
    const rest = this.recorder.unconfirmed()
    if (rest.length > 0) this.keepRest(jsonLines(rest))
    this.fallback?.close()
    this.fallback = null
    for (const spare of this.spares.values()) spare.close()
    if (this.controller.connected) this.controller.disconnect()
    // There was no run: whoever takes its file away must not meet a recorder that still writes it.
    if (outcome.kind !== 'ended') await this.endRecorder()
    this.settleReady(null)
    this.settleFinished(outcome)
    this.shown.complete()
    this.told.complete()
  }

  private outcomeOf(result: SuperviseResult): RunOutcome {
    if (result.kind !== 'taken over') return result
    const reason = {
      code: 'controller-lost',
      rail: null,
      step: null,
      measured: null,
      limit: null,
      unit: '',
      text: `${result.lost}; the supervisor put the outputs off. ${result.text}`,
    }
    const ending = runEnding(
      {
        outcome: 'failed',
        reason,
        outputs_off: result.confirmed ? 'confirmed' : 'not confirmed',
        off: this.result?.rails ?? {},
        hand_rails: this.result?.hand_rails ?? handRails(this.job.plan),
        bias_released_by: this.result?.bias_released_by ?? null,
        warnings: [],
        steps_done: this.stepsDone,
        ever_energised: true,
      },
      notMeasured(this.job.plan),
      ((this.now_us() - (this.begun_us ?? 0)) / 1e6) * this.job.speed,
    )
    return { kind: 'ended', ending }
  }

  private stepsDone = 0
}

type Untimed<I> = I extends SuperviseInput ? Omit<I, 't_us'> : never

/** After a take-over no meter was read: the charge is not known. */
function notMeasured(plan: Plan): RunEnding['stored_charge'] {
  const charge: Record<string, 'not measured'> = {}
  for (const rail of Object.values(plan.rails)) {
    if (rail.role !== 'HT' && rail.role !== 'screen') continue
    charge[rail.positive] = 'not measured'
    if (rail.charged_at !== undefined) charge[rail.charged_at] = 'not measured'
  }
  return charge
}

function handRails(plan: Plan): RunEnding['hand_rails'] {
  const hand: Record<string, 'not confirmed by you'> = {}
  for (const rail of Object.values(plan.rails))
    if (rail.class === 'hand') hand[rail.name] = 'not confirmed by you'
  return hand
}
