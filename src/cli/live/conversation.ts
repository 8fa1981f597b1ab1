import type { LineHealth } from '../../exchange/index.js'
import type { Supervisor, Shown } from '../../controller/index.js'
import type { Equipment } from '../../equipment/index.js'
import { stepNumbered, type Ask, type Plan } from '../../plan/index.js'
import { formatQuantity } from '../../quantities/index.js'
import type { View } from '../../sequencer/index.js'
import { answerOf, type Typing, typeKey } from './keys.js'
import { frameOf } from './screen.js'
import type { BenchProcess } from './start-bench.js'
import type { Key, Terminal } from './terminal.js'

/** What a high-resistance hand meter takes, ohm (common practice, no source). */
const meter_ohm = 10e6

/** A person at a terminal and a run: shows what happens, asks what is asked, and carries every stop at once. */
export class Conversation {
  private typing: Typing = { buffer: '', live: false, asking: false }
  private asked: { readonly prompt: number; readonly ask: Ask; shown: number | null } | null = null
  private word: { readonly text: string; readonly settle: (typed: boolean) => void } | null = null
  /** The word was typed: from that very key on every stop is a stop of the run, also while there is none yet. */
  private acknowledged = false
  private wanted: { readonly by: string; readonly now: boolean } | null = null
  private readonly leaving = new AbortController()
  private run: Supervisor | null = null
  private view: View | null = null
  private health: Readonly<Record<string, LineHealth>> = {}
  private step = -1
  private reasonSaid = false
  private hasStopped = false
  /** The program's own virtual bench, once it runs. */
  bench: BenchProcess | null = null

  constructor(
    private readonly terminal: Terminal,
    private readonly plan: Plan,
    private readonly equipment: Equipment,
    private readonly speed: number,
  ) {}

  /** A person stopped, before or during the run: from then on nothing may begin to energise. */
  stopped(): boolean {
    return this.hasStopped
  }

  /** How each line did, as last told. */
  get lines(): Readonly<Record<string, LineHealth>> {
    return this.health
  }

  /** Aborted at a stop before the word was typed: there is nothing to wait for any more. */
  get givenUp(): AbortSignal {
    return this.leaving.signal
  }

  /** Waits until this word is typed; false when it was given up. Nothing may be energised before. */
  acknowledge(word: string): Promise<boolean> {
    if (this.hasStopped) return Promise.resolve(false)
    this.typing = { buffer: '', live: false, asking: true }
    this.askFor(word)
    return new Promise((settle) => {
      this.word = { text: word, settle }
    })
  }

  private askFor(word: string): void {
    this.terminal.line('')
    this.terminal.line('Read the cautions above and acknowledge them for this start.')
    this.terminal.line(`To do so, type the word: ${word}`)
    this.terminal.frame(['> '])
  }

  /** From now on keys stop the run and answer its questions; a stop already asked for is passed on first. */
  follow(run: Supervisor): void {
    this.run = run
    this.typing = { buffer: '', live: true, asking: false }
    run.shown.subscribe((shown) => {
      this.show(shown)
    })
    if (this.wanted !== null) run.stop(this.wanted.by, this.wanted.now)
  }

  key(key: Key): void {
    const turn = typeKey(this.typing, key)
    this.typing = turn.typing
    for (const typed of turn.typed) {
      if (typed.kind === 'stop') this.stop(typed.by, typed.now)
      else if (typed.kind === 'entered') this.entered(typed.text)
      else this.stop(typed.by, false)
    }
    this.draw()
  }

  stop(by: string, now: boolean): void {
    const again = this.hasStopped
    this.hasStopped = true
    if (this.run !== null) {
      this.terminal.line(`${by}: ${now ? 'outputs off now' : 'run down (again: outputs off now)'}.`)
      this.run.stop(by, now)
    } else if (this.acknowledged) {
      this.terminal.line(`${by}: stop before the start; nothing more is energised.`)
      this.wanted = { by, now: now || again }
    } else {
      this.terminal.line(`${by}: given up, no run begins.`)
      this.leaving.abort()
      this.word?.settle(false)
      this.word = null
    }
  }

  private entered(text: string): void {
    if (this.word !== null) {
      this.wordTyped(this.word, text)
      return
    }
    const { asked, run } = this
    if (asked === null || run === null) return
    const answer = answerOf(text, asked.ask, asked.shown)
    if ('problem' in answer) {
      this.terminal.line(answer.problem)
      return
    }
    if (asked.ask.about === 'mode' && answer.value === 'yes') this.setMode()
    const latched = /^clear (.+)$/.exec(asked.ask.about)?.[1]
    if (latched !== undefined && answer.value === 'yes') this.bench?.tell({ kind: 'clear', output: latched })
    run.answer(asked.prompt, answer.value, 'terminal')
  }

  private wordTyped(word: NonNullable<typeof this.word>, text: string): void {
    if (text.toLowerCase() !== word.text) {
      this.terminal.line(
        `"${text}" is not the word. Nothing is energised before it is typed; Ctrl-C gives up.`,
      )
      this.askFor(word.text)
      return
    }
    this.word = null
    this.acknowledged = true
    this.typing = { buffer: '', live: true, asking: false }
    word.settle(true)
  }

  private show(shown: Shown): void {
    switch (shown.kind) {
      case 'view':
        this.view = shown.view
        this.stepChanged(shown.view.step)
        this.sayReason(shown.view)
        break
      case 'health':
        this.health = { ...this.health, [shown.port]: shown.health }
        break
      case 'prompt':
        this.terminal.bell()
        this.asked = { prompt: shown.prompt, ask: shown.ask, shown: null }
        this.typing = { ...this.typing, buffer: '', asking: true }
        this.terminal.line(`? ${shown.ask.text}`)
        void this.virtualMeter(shown.prompt, shown.ask)
        break
      case 'prompt closed':
        if (this.asked?.prompt === shown.prompt) {
          this.asked = null
          this.typing = { ...this.typing, buffer: '', asking: false }
        }
        break
      case 'alarm':
        this.terminal.bell()
        this.terminal.line(`ALARM: ${shown.text}`)
        break
      case 'notice':
        this.terminal.line(shown.text)
        break
      case 'hands clear':
        this.terminal.bell()
        this.terminal.line(`Hands clear: HT rises in ${shown.for_s.toFixed(0)} s. s stops.`)
        break
    }
    this.draw()
  }

  private stepChanged(step: number): void {
    if (step === this.step) return
    this.step = step
    const planned = stepNumbered(this.plan, step)
    if (planned === null) return
    const sure = this.plan.steps.filter(({ only_if }) => only_if === undefined).length
    this.terminal.line(`Step ${step} of ${Math.max(step, sure)}: ${planned.stage}`)
    this.bench?.tell({ kind: 'step', step: planned.index })
  }

  /** Why outputs go off stands on the screen beside what is to be done about it. */
  private sayReason({ reason }: View): void {
    if (reason === null || this.reasonSaid) return
    this.reasonSaid = true
    this.terminal.line(`Why it goes off: ${reason.text}`)
  }

  private setMode(): void {
    const mode = stepNumbered(this.plan, this.step)?.mode
    if (mode !== undefined) this.bench?.tell({ kind: 'mode', mode })
  }

  /** On a virtual bench the person has no meter and no knob: the bench's own are turned and read, and said to be so. */
  private async virtualMeter(prompt: number, ask: Ask): Promise<void> {
    const { bench } = this
    if (bench === null || ask.wants.kind !== 'reading') return
    const { rail, unit } = ask.wants
    if (rail !== null && unit === 'V' && this.plan.rails[rail]?.class !== 'programmed') {
      const target = ask.about.startsWith('hand off')
        ? 0
        : (stepNumbered(this.plan, this.step)?.target_V ?? 0)
      if (!ask.about.startsWith('renew')) bench.tell({ kind: 'turn', rail, volts: target })
      await new Promise((resolve) => setTimeout(resolve, 4000 / this.speed))
    }
    const shown = await this.reads(bench, ask.wants)
    if (shown === null || this.asked?.prompt !== prompt) return
    this.asked.shown = Number(shown.toPrecision(4))
    this.terminal.line(
      `  The virtual meter shows ${formatQuantity(this.asked.shown, unit)}: Enter accepts it.`,
    )
    this.draw()
  }

  private async reads(
    bench: BenchProcess,
    { node, rail, unit }: Extract<Ask['wants'], { kind: 'reading' }>,
  ): Promise<number | null> {
    if (node !== null) return bench.probe(node, this.equipment.chassis_node, meter_ohm)
    if (rail === null) return null
    if (unit === 'Ω') return bench.ohms(rail)
    const seen = await bench.rail(rail)
    return seen === null ? null : unit === 'V' ? seen.volts : seen.amps
  }

  private draw(): void {
    const lines =
      this.view === null || !this.typing.live
        ? []
        : frameOf(this.view, this.speed, this.terminal.size, this.health)
    if (this.typing.asking) lines.push(`${this.hint()}> ${this.typing.buffer}`)
    this.terminal.frame(lines)
  }

  private hint(): string {
    const { asked } = this
    if (asked === null) return ''
    if (asked.ask.wants.kind === 'confirm') return 'y or n '
    const { low, high, unit } = asked.ask.wants
    return `${formatQuantity(low, unit)} to ${formatQuantity(high, unit)} is right; n stops `
  }
}
