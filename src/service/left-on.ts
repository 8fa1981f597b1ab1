import type { Ended } from './api/index.js'
import type { Desk } from './desk.js'
import { type Left, leftBy } from './left.js'
import { type Again, offAgain } from './off-again.js'

export interface SendAgain {
  /** Who asked for it. */
  readonly by: string
  readonly ended: Ended | null
  readonly told: (text: string) => void
  /** What was measured of it. */
  readonly came: (again: Again) => void
}

/** The bench of the last run, where an output of it may be on, and OFF that is sent to it again: one at a time. */
export class LeftOn {
  left: Left | null = null
  private sending = false
  /** Until what was measured is told and put down; settled where none is sent. */
  sent: Promise<void> = Promise.resolve()

  constructor(private readonly desk: Pick<Desk, 'told'>) {}

  isSending(): boolean {
    return this.sending
  }

  sendAgain(left: Left, { by, ended, told, came }: SendAgain): void {
    this.sending = true
    const run = leftBy(left)
    const words = [`${by}: OFF sent again.`]
    this.sent = offAgain(left, ended, (text) => {
      words.push(text)
      told(text)
    }).then(async (again) => {
      this.sending = false
      if (again.done !== 'not confirmed') this.left = null
      came(again)
      words.push(`OFF sent again: ${again.done}.`)
      await this.putDown(run, by, words.join('\n')).catch((error: unknown) => {
        const why = error instanceof Error ? error.message : String(error)
        told(`That OFF was sent again is not in the run's notes: ${why}`)
      })
    })
  }

  /** The run it belongs to has ended: what was done since stands in its notes. */
  private async putDown(run: string | null, by: string, text: string): Promise<void> {
    if (run === null) throw new Error('which run left it on is not known')
    await this.desk.told('addNote', { run, text, by })
  }
}
