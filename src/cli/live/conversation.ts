import type { LineHealth } from '../../exchange/index.js'
import type { Supervisor, Shown } from '../../controller/index.js'
import { stepNumbered, type Ask, type Plan } from '../../plan/index.js'
import { formatQuantity } from '../../quantities/index.js'
import type { View } from '../../sequencer/index.js'
import { type Answer, answerOf, Stops, type VirtualHands } from '../../session/index.js'
import { type AnswerPhoto, readPhoto, withPhoto } from './photo.js'
import { type Typing, typeKey } from './keys.js'
import { frameOf } from './screen.js'
import type { Key, Terminal } from './terminal.js'

/** A person at a terminal and a run: shows what happens, asks what is asked, and carries every stop at once. */
export class Conversation {
  private typing: Typing = { buffer: '', live: false, asking: false }
  private asked: { readonly prompt: number; readonly ask: Ask; shown: number | null } | null = null
  private word: {
    readonly text: string
    readonly of: 'run' | 'unattended'
    readonly settle: (typed: boolean) => void
  } | null = null
  private run: Supervisor | null = null
  private view: View | null = null
  private health: Readonly<Record<string, LineHealth>> = {}
  private step = -1
  private reasonSaid = false
  readonly stops: Stops
  /** Attached to answers, for the book of the set once the run has ended. */
  readonly photos: AnswerPhoto[] = []
  /** At the program's own virtual bench, once it runs. */
  hands: VirtualHands | null = null

  constructor(
    private readonly terminal: Terminal,
    private readonly plan: Plan,
    private readonly speed: number,
  ) {
    this.stops = new Stops((text) => {
      terminal.line(text)
    })
    this.stops.givenUp.addEventListener('abort', () => {
      this.word?.settle(false)
      this.word = null
    })
  }

  /** How each line did, as last told. */
  get lines(): Readonly<Record<string, LineHealth>> {
    return this.health
  }

  /**
   * Waits until this word is typed; false when it was given up. Nothing may be energised before. `unattended`: it confirms what
   * leaving the run alone needs, and the cautions of the run itself are still to come.
   */
  acknowledge(word: string, of: 'run' | 'unattended' = 'run'): Promise<boolean> {
    if (this.stops.stopped()) return Promise.resolve(false)
    this.typing = { buffer: '', live: false, asking: true }
    this.askFor(word, of)
    return new Promise((settle) => {
      this.word = { text: word, of, settle }
    })
  }

  private askFor(word: string, of: 'run' | 'unattended'): void {
    this.terminal.line('')
    this.terminal.line(
      of === 'run'
        ? 'Read the cautions above and acknowledge them for this start.'
        : 'Read what unattended work needs, above, and confirm that all of it is so, in this start.',
    )
    this.terminal.line(`To do so, type the word: ${word}`)
    this.terminal.frame(['> '])
  }

  /** From now on keys stop the run and answer its questions. */
  follow(run: Supervisor): void {
    this.run = run
    this.typing = { buffer: '', live: true, asking: false }
    run.shown.subscribe((shown) => {
      this.show(shown)
    })
  }

  key(key: Key): void {
    const turn = typeKey(this.typing, key)
    this.typing = turn.typing
    for (const typed of turn.typed) {
      if (typed.kind === 'stop') this.stops.stop(typed.by, typed.now)
      else if (typed.kind === 'entered') this.entered(typed.text)
      else this.stops.stop(typed.by, false)
    }
    this.draw()
  }

  private entered(text: string): void {
    if (this.word !== null) {
      this.wordTyped(this.word, text)
      return
    }
    const { asked, run } = this
    if (asked === null || run === null) return
    const { answer: said, photo } = withPhoto(text)
    const answer = answerOf(said, asked.ask, asked.shown)
    if ('problem' in answer) {
      this.terminal.line(answer.problem)
      return
    }
    if (photo === null) {
      this.hands?.answered(asked.ask, answer.value)
      run.answer(asked.prompt, answer.value, 'terminal')
    } else void this.answeredWith(photo, asked, run, answer.value)
  }

  /** A photograph goes into the record by its hash before its answer does; one that cannot be read leaves the question open. */
  private async answeredWith(
    path: string,
    { prompt, ask }: NonNullable<typeof this.asked>,
    run: Supervisor,
    value: Answer,
  ): Promise<void> {
    const photo = await readPhoto(path, `with the answer to: ${ask.text}`)
    if ('problem' in photo) {
      this.terminal.line(`${photo.problem} The question is still open.`)
      return
    }
    run.note('photograph', `${photo.name}, SHA-256 ${photo.sha256}, ${photo.caption}`, {
      ...{ prompt, name: photo.name, sha256: photo.sha256, bytes: photo.bytes },
    })
    this.photos.push(photo)
    // It may have run out while the file was read.
    if (this.asked?.prompt !== prompt) return
    this.hands?.answered(ask, value)
    run.answer(prompt, value, 'terminal')
  }

  private wordTyped(word: NonNullable<typeof this.word>, text: string): void {
    if (text.toLowerCase() !== word.text) {
      this.terminal.line(
        `"${text}" is not the word. Nothing is energised before it is typed; Ctrl-C gives up.`,
      )
      this.askFor(word.text, word.of)
      return
    }
    this.word = null
    if (word.of === 'run') this.stops.wordTyped()
    this.typing = { buffer: '', live: word.of === 'run', asking: false }
    word.settle(true)
  }

  private show(shown: Shown): void {
    switch (shown.kind) {
      case 'view':
        this.view = shown.view
        this.hands?.stepIs(shown.view.step)
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
        // What was read is judged at once.
        if (shown.why.startsWith('answered: '))
          this.terminal.line(`  ${shown.why.slice('answered: '.length)}.`)
        if (this.asked?.prompt === shown.prompt) {
          this.asked = null
          this.typing = { ...this.typing, buffer: '', asking: false }
        }
        break
      case 'taken over':
        this.asked = null
        this.typing = { ...this.typing, buffer: '', asking: false }
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
  }

  /** Why outputs go off stands on the screen beside what is to be done about it. */
  private sayReason({ reason }: View): void {
    if (reason === null || this.reasonSaid) return
    this.reasonSaid = true
    this.terminal.line(`Why it goes off: ${reason.text}`)
  }

  /** What the virtual bench's own meter reads is shown as that, and accepted with Enter. */
  private async virtualMeter(prompt: number, ask: Ask): Promise<void> {
    if (ask.wants.kind !== 'reading') return
    const shown = (await this.hands?.meter(ask)) ?? null
    if (shown === null || this.asked?.prompt !== prompt) return
    this.asked.shown = shown
    this.terminal.line(
      `  The virtual meter shows ${formatQuantity(shown, ask.wants.unit)}: Enter accepts it.`,
    )
    this.draw()
  }

  private draw(): void {
    const lines =
      this.view === null || !this.typing.live
        ? []
        : frameOf(this.view, this.speed, this.terminal.size, this.health, this.asked?.ask.figure ?? null)
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
