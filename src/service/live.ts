import { randomBytes } from 'node:crypto'
import type { Shown, Supervisor } from '../controller/index.js'
import { formatQuantity } from '../quantities/index.js'
import type { Ask } from '../plan/index.js'
import { answerOf, givenUp, type NotBegun, type Ran, type Start } from '../session/index.js'
import { type Body, may, type Phase, type Prompt, Refused, type Reply, type Snapshot } from './api/index.js'
import { Current } from './current.js'
import type { PreparedStart } from './desk-questions.js'
import { endedOf, endedWords, offOf } from './ended.js'
import type { Who } from './guard.js'
import { HeldLately } from './held.js'
import { liveViewOf } from './live-view.js'
import { type Left, leftElsewhere, leftOn, leftWords } from './left.js'
import { LeftOn } from './left-on.js'
import type { LiveJob } from './live-job.js'
import { Messages } from './messages.js'
import { ownFault, refusedAs } from './not-begun.js'
import { endedSince, refusedSince } from './off-again.js'
import { standAside } from './stand-aside.js'
import type { Streams } from './streams.js'
import { goThrough, startOf } from './through.js'
import { needsOf, phaseOf, promptOf, runOf, type Started } from './told.js'

const look_ms = 1000
type State = Omit<Snapshot, 'epoch' | 'now_ms' | 'messages' | 'viewers' | 'cautions'>
const noRun: State = {
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

/** Read and typed by a person: a program that asks without a browser is not given it. */
export const seesWord = ({ role, in_page }: Pick<Who, 'role' | 'in_page'>): boolean =>
  in_page && may[role].includes('start')

/** The run of this service, one at a time: what a person at a terminal is to a run, pages and devices are together. */
export class Live {
  streams: Streams | null = null
  private state = noRun
  private cautions: { readonly text: string; readonly word: string } | null = null
  private readonly messages: Messages
  private preparing = false
  private current: Current | null = null
  private document: string | null = null
  private readonly leftOn: LeftOn
  readonly held = new HeldLately()
  /** How the last run ended, or why there was none; settles anew with each. */
  over: Promise<Ran | NotBegun> = Promise.resolve(givenUp)

  /** No run and no OFF that is sent again: until then the service stays. */
  async quiet(): Promise<Ran | NotBegun> {
    const over = await this.over
    await this.leftOn.sent
    return over
  }

  constructor(private readonly job: LiveJob) {
    this.leftOn = new LeftOn(job.desk)
    this.messages = new Messages({
      ...job,
      send: (message) => {
        this.streams?.send('message', { now_ms: message.at_ms, message })
      },
    })
  }

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

  snapshot(who: Pick<Who, 'role' | 'in_page'>): Snapshot {
    const { cautions } = this
    return {
      ...this.state,
      epoch: this.job.epoch,
      now_ms: this.job.now_ms(),
      cautions:
        cautions === null ? null : { text: cautions.text, word: seesWord(who) ? cautions.word : null },
      messages: this.messages.all,
      viewers: this.streams?.count ?? 0,
    }
  }

  /** Everything judged, then the bench opened up to the cautions. Energises nothing. */
  async start(asked: Started, who: Who): Promise<void> {
    if (this.current !== null || this.preparing || this.leftOn.isSending())
      throw new Refused(409, 'busy', 'A run is under way here already.', {
        remedy: 'It is on the page now. Stop it, or wait for its end.',
      })
    this.preparing = true
    try {
      const { profile, bench, faults, speed, continues, plan } = asked
      const prepared = await this.job.desk.told('prepare', { profile, bench, faults, speed, continues, plan })
      // It may have begun while the desk was waited for.
      if (this.leftOn.isSending())
        throw new Refused(409, 'busy', 'OFF is being sent again to the bench of the last run.', {
          remedy: 'Start when what was measured of it is shown.',
        })
      const elsewhere = leftElsewhere(this.leftOn.left, prepared.state_path)
      if (elsewhere !== null) throw elsewhere
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
    const called =
      by === undefined ? who.called : `${who.called}, ${by === 'key' ? 'stop key' : 'stop control'}`
    if (current === null) {
      if (this.leftOn.left !== null) {
        this.stopAgain(this.leftOn.left, called, who)
        return
      }
      if (this.preparing)
        throw new Refused(409, 'busy', 'Nothing is energised yet; the run is still being prepared.')
      throw new Refused(409, 'nothing under way', 'No run is under way here: there is nothing to stop.', {
        remedy: 'slowglow safe-off --bench FILE puts the outputs of a bench off, whatever runs or does not.',
      })
    }
    current.stops.stop(called, now)
    const before = this.state.stop
    // A second run-down is "off now", and after that it stays the stop of who stopped: what is asked later changes nothing.
    const how = now || before !== null ? 'off now' : 'run down'
    if (before?.how !== 'off now')
      this.state = { ...this.state, stop: { how, by: called, at_ms: this.job.now_ms(), done: 'asked' } }
    this.act(`${called}: ${now ? 'off now' : 'run down'}.`, who)
    this.streams?.send('stop', { now_ms: this.job.now_ms(), stop: this.state.stop })
  }

  /** A run that ended with its alarm: whoever sees can have OFF sent again. */
  private stopAgain(left: Left, called: string, who: Pick<Who, 'called'>): void {
    if (this.leftOn.isSending()) return
    const stop = { how: 'off now', by: called, at_ms: this.job.now_ms() } as const
    this.leftOn.sendAgain(left, {
      by: called,
      ended: this.state.ended,
      told: (text) => {
        this.messages.told(text)
      },
      came: (again) => {
        const { phase, ended, refused } = this.state
        const since = { ended: endedSince(ended, again), refused: refusedSince(refused, again) }
        this.enter(phase, { ...since, stop: { ...stop, done: again.done } })
        const came = since.ended?.outputs ?? since.refused?.what ?? again.done
        this.job.say(`OFF sent again (${called}): ${came}`)
      },
    })
    this.act(`${called}: OFF sent again.`, who)
    this.enter(this.state.phase, { stop: { ...stop, done: 'asked' } })
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
    const current = new Current((text) => {
      this.messages.add('notice', text)
    })
    this.current = current
    this.leftOn.left = null
    this.messages.begin()
    this.held.begin()
    this.document = JSON.stringify(prepared.document)
    this.enter('preparing', {
      ...noRun,
      live: randomBytes(6).toString('hex'),
      run: runOf(asked, prepared, who),
      cautions: null,
    })
    this.act(`${who.called}: start of ${asked.profile}.`, who)
    // What stood on the page of other benches went with the messages before.
    this.tellLeft(prepared.state_path)
    const start = startOf(asked, prepared)
    let over: Ran | NotBegun
    let goBack = (): Promise<void> => Promise.resolve()
    try {
      over = await goThrough(start, prepared, current, this.job, {
        told: (text) => {
          this.messages.told(text)
        },
        cautions: (word) => {
          this.enter('cautions', { cautions: { text: prepared.cautions, word } })
        },
        follow: (run, name) => {
          this.follow(run, name, current, start)
          // The controller has been started by now: it keeps all processors.
          const { desk } = this.job
          const aside = standAside(() => [process.pid, ...desk.pids])
          desk.standBehind()
          goBack = async () => {
            await aside.goBack()
            desk.comeForward()
          }
        },
        present: () => (this.streams?.count ?? 0) > 0,
      })
    } catch (error) {
      over = ownFault(error, current.run !== null)
    }
    void goBack()
    this.current = null
    this.leftOn.left = leftOn(over, start)
    this.close(over)
    return over
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

  /**
   * Told when the service begins, and with each start of what was left on other benches than its own: what is found is not touched
   * before somebody starts a run there.
   */
  tellLeft(except: string | null = null): void {
    for (const { kind, text } of leftWords(this.job.env, except)) this.messages.add(kind, text)
  }

  private show(shown: Shown, current: Current, { plan, speed }: Start): void {
    const now_ms = this.job.now_ms()
    switch (shown.kind) {
      case 'view': {
        current.hands?.stepIs(shown.view.step)
        const view = liveViewOf(shown.view, plan, speed, now_ms)
        this.held.see(view)
        this.state = { ...this.state, view }
        const phase = phaseOf(shown.view.phase)
        if (phase === 'going off' || now_ms >= (this.state.hands_clear?.until_ms ?? Infinity))
          this.handsClear(null)
        if (phase !== null && phase !== this.state.phase) this.enter(phase, {})
        else this.streams?.send('view', { now_ms, view })
        if (shown.view.reason !== null && !current.reasonSaid) {
          current.reasonSaid = true
          this.messages.add('alarm', `Why it goes off: ${shown.view.reason.text}`)
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
        this.messages.add(shown.kind, shown.text)
        return
      case 'taken over':
        current.asked = null
        this.enter('going off', { prompt: null, hands_clear: null })
        return
      case 'hands clear': {
        this.job.ring()
        this.handsClear({ until_ms: now_ms + (shown.for_s * 1000) / speed })
        return
      }
    }
  }

  /** Looked at for as long as it is asked for: a knob that is still being turned shows what it has come to. */
  private async virtualMeter(prompt: number, ask: Ask, current: Current): Promise<void> {
    if (ask.wants.kind !== 'reading') return
    const { unit } = ask.wants
    for (;;) {
      const value = (await current.hands?.meter(ask)) ?? null
      const { prompt: open } = this.state
      if (open?.prompt !== prompt || open.text !== ask.text || this.current !== current) return
      if (value !== null && value !== open.meter?.value)
        this.prompt({ ...open, meter: { value, text: formatQuantity(value, unit) } })
      await new Promise((resolve) => setTimeout(resolve, look_ms))
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
      const ended = endedOf(ending, this.state.lines, 'run')
      this.enter('ended', {
        prompt: null,
        hands_clear: null,
        cautions: null,
        ended,
        stop: stop === null ? null : { ...stop, done: offOf(ending) },
      })
      this.job.say(`${over.run}: ${endedWords(ended)}`)
      return
    }
    const refused = refusedAs(over)
    this.enter('refused', { prompt: null, hands_clear: null, cautions: null, refused })
    this.job.say(refused.remedy === null ? refused.what : `${refused.what} ${refused.remedy}`)
  }

  /** A change of phase goes to everybody whole. */
  private enter(
    phase: Phase,
    { cautions, ...change }: Partial<State> & { cautions?: Live['cautions'] },
  ): void {
    if (cautions !== undefined) this.cautions = cautions
    this.state = { ...this.state, ...change, phase }
    const to = (in_page: boolean): Snapshot => this.snapshot({ role: 'bench', in_page })
    this.streams?.sendBoth('snapshot', to(true), to(false))
  }

  /** Who did what: for everybody who watches, and for the record. */
  private act(text: string, who: Pick<Who, 'called'> & Partial<Who>): void {
    const data = {
      who: who.called,
      channel: 'page',
      role: who.role ?? 'terminal',
      device: who.device?.name ?? null,
      device_id: who.device?.id ?? null,
    }
    this.current?.note(text, data)
    this.messages.add('act', text)
  }
}
