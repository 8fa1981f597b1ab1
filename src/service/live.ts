import { randomBytes, randomInt } from 'node:crypto'
import type { Logger } from 'pino'
import { drawWord } from '../cautions/index.js'
import { leftBehind, type Shown, type Supervisor } from '../controller/index.js'
import { formatQuantity } from '../quantities/index.js'
import type { Ask } from '../plan/index.js'
import {
  answerOf,
  givenUp,
  type NotBegun,
  openBench,
  type Ran,
  type Start,
  superviseRun,
  VirtualHands,
} from '../session/index.js'
import {
  type Body,
  type ErrorCode,
  may,
  type Message,
  type Phase,
  type Prompt,
  Refused,
  type Reply,
  type Snapshot,
} from './api/index.js'
import { Current } from './current.js'
import type { Desk } from './desk.js'
import type { PreparedStart } from './desk-questions.js'
import { endedOf } from './ended.js'
import type { Who } from './guard.js'
import { liveViewOf } from './live-view.js'
import type { Streams } from './streams.js'
import { needsOf, phaseOf, promptOf, runOf, type Started } from './told.js'

export interface LiveJob {
  readonly desk: Desk
  readonly epoch: string
  readonly now_ms: () => number
  readonly env: Readonly<Record<string, string | undefined>>
  readonly log: Logger
  /** A run that no page has watched for so long is run down, as one whose terminal was closed. */
  readonly unwatched_s: number
  /** What the terminal of the service shows too. */
  readonly say: (text: string) => void
}

/** Kept for whoever comes later. */
const most_messages = 200
const look_ms = 1000
const most_looks = 20
const codeOf: Readonly<Record<NotBegun['why'], ErrorCode>> = {
  usage: 'bad request',
  'not to be left alone': 'not allowed',
  'cold checks': 'findings',
  busy: 'busy',
  'given up': 'nothing under way',
  'not reachable': 'not reachable',
  'outputs not confirmed off': 'outputs not confirmed off',
  'record not available': 'record not available',
  'rig failed': 'our fault',
}

/** The run of this service, one at a time: what a person at a terminal is to a run, pages and devices are together. */
export class Live {
  streams: Streams | null = null
  private state: Omit<Snapshot, 'epoch' | 'now_ms' | 'messages' | 'viewers' | 'cautions'> = {
    phase: 'none',
    live: null,
    run: null,
    view: null,
    lines: {},
    prompt: null,
    hands_clear: null,
    stop: null,
    ended: null,
    refused: null,
  }
  private cautions: { readonly text: string; readonly word: string } | null = null
  private messages: Message[] = []
  private said = 0
  private preparing = false
  private current: Current | null = null
  private document: string | null = null
  /** How the last run ended, or why there was none; settles anew with each. */
  over: Promise<Ran | NotBegun> = Promise.resolve(givenUp)

  constructor(private readonly job: LiveJob) {}

  get phase(): Phase {
    return this.state.phase
  }

  get underWay(): boolean {
    return this.current !== null
  }

  /** The last run's plan as it is obeyed; as JSON text. */
  plan(): string {
    if (this.document === null)
      throw new Refused(409, 'nothing under way', 'There has been no run since the service began.')
    return this.document
  }

  snapshot(who: Pick<Who, 'role'>): Snapshot {
    const { cautions } = this
    return {
      ...this.state,
      epoch: this.job.epoch,
      now_ms: this.job.now_ms(),
      cautions:
        cautions === null
          ? null
          : { text: cautions.text, word: may[who.role].includes('start') ? cautions.word : null },
      messages: this.messages,
      viewers: this.streams?.count ?? 0,
    }
  }

  /** Everything judged, then the bench opened up to the cautions. Energises nothing. */
  async start(asked: Started, who: Who): Promise<void> {
    if (this.current !== null || this.preparing)
      throw new Refused(409, 'busy', 'A run is under way here already.', {
        remedy: 'It is on the page now. Stop it, or wait for its end.',
      })
    this.preparing = true
    try {
      const { profile, bench, faults, speed, continues } = asked
      const prepared = await this.job.desk.told('prepare', { profile, bench, faults, speed, continues })
      this.over = this.lead(asked, prepared, who)
      this.over.catch(() => undefined)
    } finally {
      this.preparing = false
    }
  }

  /** The word of the cautions, typed. */
  acknowledge({ live, word }: Body<'acknowledge'>, who: Who): void {
    const current = this.of(live)
    const { cautions } = this
    if (cautions === null || this.state.phase !== 'cautions')
      throw new Refused(409, 'nothing under way', 'No cautions are waiting to be acknowledged.')
    if (word.trim().toLowerCase() !== cautions.word)
      throw new Refused(
        409,
        'wrong word',
        `"${word}" is not the word. Nothing is energised before it is typed.`,
        {
          remedy: 'Read the cautions, and type the word that stands below them.',
        },
      )
    current.stops.wordTyped()
    this.act(`${who.called}: cautions acknowledged with the word ${cautions.word}.`, who)
    this.enter('starting', { cautions: null })
    current.typed()
  }

  answer({ live, prompt, answer }: Body<'answer'>, who: Who): void {
    const current = this.of(live)
    const asked = this.asked(current, prompt)
    const shown = this.state.prompt?.meter?.value ?? null
    const given = answerOf(answer.trim(), asked, shown)
    if ('problem' in given) throw new Refused(422, 'bad answer', given.problem)
    const needs = needsOf(asked)
    if (!may[who.role].includes(needs))
      throw new Refused(403, 'not allowed', 'This question is answered on the bench machine only.', {
        remedy: 'From here you can stop, answer a reading, and give or withhold "hands clear".',
      })
    current.give(prompt, asked, given.value)
    const said = given.value === 'go on' ? 'said go on' : `answered "${answer.trim()}"`
    this.act(`${who.called} ${said} to: ${asked.text}`, who)
  }

  hands({ live, prompt, clear }: Body<'hands'>, who: Who): void {
    const current = this.of(live)
    const asked = this.asked(current, prompt)
    if (asked.about !== 'hands clear')
      throw new Refused(409, 'no such question', 'The question is not about hands.')
    current.give(prompt, asked, clear ? 'yes' : 'no')
    this.act(`${who.called}: hands ${clear ? 'are clear' : 'are NOT clear'}.`, who)
  }

  /** A photograph went into the book of the set under way: the run says so too, with what it can be found by. */
  attached({ equipment, photographs }: Pick<Reply<'book'>, 'equipment' | 'photographs'>, who: Who): void {
    const photograph = photographs.at(-1)
    if (this.current === null || photograph === undefined || this.state.run?.equipment !== equipment) return
    const { seq, name, caption, sha256 } = photograph
    this.act(
      `${who.called} attached the photograph ${name} to the set's book (entry ${seq + 1}, SHA-256 ${sha256}): ${caption}`,
      who,
    )
  }

  /** First of all the stop goes out; who it was is put down after. */
  stop(now: boolean, who: Pick<Who, 'called'>, by: 'control' | 'key' | undefined): void {
    const { current } = this
    if (current === null) {
      if (this.preparing)
        throw new Refused(409, 'busy', 'Nothing is energised yet; the run is still being prepared.')
      throw new Refused(409, 'nothing under way', 'No run is under way here: there is nothing to stop.', {
        remedy: 'slowglow safe-off --bench FILE puts the outputs of a bench off, whatever runs or does not.',
      })
    }
    const called =
      by === undefined ? who.called : `${who.called}, ${by === 'key' ? 'stop key' : 'stop control'}`
    current.stops.stop(called, now)
    const how = now ? 'off now' : 'run down'
    this.state = {
      ...this.state,
      stop: { how, by: called, at_ms: this.job.now_ms(), done: 'asked' },
    }
    this.act(`${called}: ${how}.`, who)
    this.streams?.send('stop', { now_ms: this.job.now_ms(), stop: this.state.stop })
  }

  private of(live: string): Current {
    if (this.current === null || this.state.live !== live)
      throw new Refused(409, 'nothing under way', 'That run is not under way here.', {
        remedy: 'Look at what the page shows now.',
      })
    return this.current
  }

  private asked(current: Current, prompt: number): Ask {
    if (current.asked?.prompt === prompt) return current.asked.ask
    throw new Refused(409, 'no such question', 'That question is no longer open.', {
      remedy: 'Look at the one that stands now; somebody else may have answered.',
    })
  }

  /** A run from here to its end; whatever happens, it is over afterwards. */
  private async lead(asked: Started, prepared: PreparedStart, who: Who): Promise<Ran | NotBegun> {
    const { ready, plan } = prepared
    const current = new Current((text) => {
      this.message('notice', text)
    })
    this.current = current
    this.messages = []
    this.document = JSON.stringify(prepared.document)
    this.enter('preparing', {
      live: randomBytes(6).toString('hex'),
      run: runOf(asked, prepared, who),
      view: null,
      lines: {},
      prompt: null,
      hands_clear: null,
      stop: null,
      ended: null,
      refused: null,
      cautions: null,
    })
    this.act(`${who.called}: start of ${asked.profile}.`, who)
    const start: Start = {
      command: 'run',
      prepared: ready,
      plan,
      speed: asked.speed,
      seed: asked.seed ?? null,
      faults: asked.faults,
      state_path: prepared.state_path,
      ...(prepared.lifted !== null && { lifted: prepared.lifted.profile_path, whole: prepared.lifted.whole }),
    }
    let over: Ran | NotBegun
    try {
      over = await this.through(start, prepared, current)
    } catch (error) {
      const what = error instanceof Error ? error.message : String(error)
      over =
        current.run === null
          ? { kind: 'not begun', why: 'rig failed', what: `Our own fault: ${what}` }
          : {
              kind: 'not begun',
              why: 'outputs not confirmed off',
              what: `Our own fault after the run had begun: ${what} What its outputs do is not known here.`,
              remedy:
                'Cut the mains of the HT sources (not of the bias), then slowglow safe-off --bench FILE. Measure before touching.',
            }
    }
    this.current = null
    this.close(over)
    return over
  }

  private async through(start: Start, prepared: PreparedStart, current: Current): Promise<Ran | NotBegun> {
    const { stops } = current
    const open = await openBench(start, stops, (text) => {
      this.message(text.startsWith('ALARM: ') ? 'alarm' : 'notice', text)
    })
    if (open.kind === 'not begun') return open
    try {
      if (open.bench !== null) {
        current.hands = new VirtualHands(open.bench, start.plan, start.prepared.equipment, start.speed)
        open.bench.lost((text) => {
          this.message('alarm', text)
        })
      }
      const word = drawWord({ next: () => randomInt(0, 2 ** 32) / 2 ** 32 })
      if (stops.stopped()) return givenUp
      const typed = current.waitForWord()
      this.enter('cautions', { cautions: { text: prepared.cautions, word } })
      if (!(await typed) || stops.stopped()) return givenUp
      const { desk, env, log } = this.job
      return await superviseRun({
        start,
        places: open.places,
        word,
        channel: 'page',
        stops,
        folder: prepared.folder,
        hookedUpAsIn: async () => (await desk.told('hookedUpAsIn', { plan: start.plan })).run,
        version: prepared.version,
        log,
        env,
        told: (text) => {
          this.message('notice', text)
        },
        follow: (run, name) => {
          this.follow(run, name, current, start)
        },
        present: () => (this.streams?.count ?? 0) > 0,
      })
    } finally {
      open.bench?.end()
    }
  }

  private follow(run: Supervisor, name: string, current: Current, start: Start): void {
    current.join(run)
    const { run: described } = this.state
    this.enter('starting', { run: described === null ? null : { ...described, run: name } })
    run.shown.subscribe((shown) => {
      this.show(shown, current, start)
    })
    this.endUnwatched(current)
  }

  /** Alarms and questions of an attended run reach somebody, or it does not go on. */
  private endUnwatched(current: Current): void {
    const { unwatched_s } = this.job
    const timer = setInterval(() => {
      if (this.current !== current || this.state.stop !== null) {
        clearInterval(timer)
        return
      }
      if (this.job.now_ms() - (this.streams?.watched_ms ?? 0) >= unwatched_s * 1000)
        this.stop(false, { called: `the service, since no page has watched for ${unwatched_s} s` }, undefined)
    }, look_ms)
  }

  /** Told once, when the service begins: what it finds is not touched before somebody starts a run there. */
  tellLeft(): void {
    for (const { path, state } of leftBehind(this.job.env)) {
      const after =
        'Cut the mains of the HT sources (not of the bias), or slowglow safe-off --bench FILE. The next start on that bench reads its outputs back and makes them safe first.'
      if (state === 'unreadable')
        this.message(
          'alarm',
          `A run was left without its end, and what it left in ${path} cannot be read: OUTPUTS OF A BENCH MAY BE ON. ${after}`,
        )
      else
        this.message(
          state.bench_kind === 'virtual' ? 'notice' : 'alarm',
          `A run was left without its end (${state.run_file}): OUTPUTS OF ${state.bench} MAY BE ON${state.bench_kind === 'virtual' ? ', a virtual bench' : ''}. ${after}`,
        )
    }
  }

  private show(shown: Shown, current: Current, { plan, speed }: Start): void {
    const now_ms = this.job.now_ms()
    switch (shown.kind) {
      case 'view': {
        current.hands?.stepIs(shown.view.step)
        const view = liveViewOf(shown.view, plan, speed, now_ms)
        this.state = { ...this.state, view }
        const phase = phaseOf(shown.view.phase)
        if (phase === 'going off' || now_ms >= (this.state.hands_clear?.until_ms ?? Infinity))
          this.handsClear(null)
        if (phase !== null && phase !== this.state.phase) this.enter(phase, {})
        else this.streams?.send('view', { now_ms, view })
        if (shown.view.reason !== null && !current.reasonSaid) {
          current.reasonSaid = true
          this.message('alarm', `Why it goes off: ${shown.view.reason.text}`)
        }
        return
      }
      case 'health':
        this.state = { ...this.state, lines: { ...this.state.lines, [shown.port]: shown.health } }
        this.streams?.send('line', { now_ms, port: shown.port, health: shown.health })
        return
      case 'prompt':
        current.asked = { prompt: shown.prompt, ask: shown.ask }
        this.prompt(promptOf(shown, now_ms + (shown.left_s * 1000) / speed))
        void this.virtualMeter(shown.prompt, shown.ask, current)
        return
      case 'prompt closed':
        if (current.asked?.prompt !== shown.prompt) return
        current.asked = null
        this.prompt(null)
        return
      case 'alarm':
      case 'notice':
        this.message(shown.kind, shown.text)
        return
      case 'taken over':
        current.asked = null
        this.enter('going off', { prompt: null, hands_clear: null })
        return
      case 'hands clear': {
        this.handsClear({ until_ms: now_ms + (shown.for_s * 1000) / speed })
        return
      }
    }
  }

  private async virtualMeter(prompt: number, ask: Ask, current: Current): Promise<void> {
    if (ask.wants.kind !== 'reading') return
    // A busy machine may not answer in time: the meter is looked at until it shows something, or nobody asks any more.
    for (let looks = 0; looks < most_looks; looks++) {
      const value = (await current.hands?.meter(ask)) ?? null
      const { prompt: open } = this.state
      if (open?.prompt !== prompt) return
      if (value !== null) {
        this.prompt({ ...open, meter: { value, text: formatQuantity(value, ask.wants.unit) } })
        return
      }
    }
  }

  private handsClear(hands_clear: Snapshot['hands_clear']): void {
    if (hands_clear === this.state.hands_clear) return
    this.state = { ...this.state, hands_clear }
    this.streams?.send('hands', { now_ms: this.job.now_ms(), hands_clear })
  }

  private prompt(prompt: Prompt | null): void {
    this.state = { ...this.state, prompt }
    this.streams?.send('prompt', { now_ms: this.job.now_ms(), prompt })
  }

  private close(over: Ran | NotBegun): void {
    const stop = this.state.stop
    if (over.kind === 'ran') {
      const { ending } = over
      this.enter('ended', {
        prompt: null,
        hands_clear: null,
        cautions: null,
        ended: endedOf(ending, this.state.lines, 'run'),
        stop: stop === null ? null : { ...stop, done: ending.outputs_off },
      })
      this.job.say(`${over.run}: ${this.state.ended?.sentence ?? ''} ${this.state.ended?.outputs ?? ''}`)
      return
    }
    const { why, what, remedy = null, where = null } = over
    this.enter('refused', {
      prompt: null,
      hands_clear: null,
      cautions: null,
      refused: { code: codeOf[why], what, remedy, where, problems: [] },
    })
    this.job.say(remedy === null ? what : `${what} ${remedy}`)
  }

  /** A change of phase goes to everybody whole. */
  private enter(
    phase: Phase,
    { cautions, ...change }: Partial<Live['state']> & { cautions?: Live['cautions'] },
  ): void {
    if (cautions !== undefined) this.cautions = cautions
    this.state = { ...this.state, ...change, phase }
    this.streams?.sendBoth('snapshot', this.snapshot({ role: 'bench' }), this.snapshot({ role: 'paired' }))
  }

  /** Who did what: for everybody who watches, and for the record. */
  private act(text: string, who: Pick<Who, 'called'> & Partial<Who>): void {
    const data = {
      who: who.called,
      channel: 'page',
      role: who.role ?? 'terminal',
      device: who.device ?? null,
    }
    this.current?.note(text, data)
    this.message('act', text)
  }

  private message(kind: Message['kind'], text: string): void {
    const message = { n: ++this.said, at_ms: this.job.now_ms(), kind, text }
    this.messages = [...this.messages.slice(-(most_messages - 1)), message]
    if (kind === 'alarm') this.job.say(text.startsWith('ALARM') ? text : `ALARM: ${text}`)
    this.streams?.send('message', { now_ms: message.at_ms, message })
  }
}
