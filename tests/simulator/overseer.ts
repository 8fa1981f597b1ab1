import { atOnce } from '../../src/controller/off-at-once.js'
import {
  superviseBegin,
  type SuperviseAct,
  type SuperviseInput,
  type SuperviseResult,
  superviseStep,
} from '../../src/controller/supervise.js'
import type { OffPlan } from '../../src/plan/index.js'

/** What a supervisor can do, and what it reaches. */
export interface Charge {
  readonly now_us: number
  write(port: string, text: string): void
  beatsToController(): void
  stopsController(how: 'run down' | 'off now', by: string): void
  controllerDies(how: string): void
  makeSafe(): void
  records(what: string, text: string): void
  alarmed(): void
  finished(result: SuperviseResult): void
}

/** What can be told to it, at a time that is its own. */
export type Told = { [K in SuperviseInput as K['kind']]: Omit<K, 't_us'> }[SuperviseInput['kind']]

/** The supervisor as its process has it (supervisor.ts): the real decisions, as long as it lives. */
export class Overseer {
  private state = superviseBegin(0)
  private alive = true

  constructor(
    private readonly off: OffPlan,
    private readonly charge: Charge,
  ) {}

  get lives(): boolean {
    return this.alive
  }
  dies(): void {
    this.alive = false
  }

  /** A dead one hears nothing. */
  take(input: Told): void {
    if (!this.alive) return
    const { state, acts } = superviseStep(this.state, { ...input, t_us: this.charge.now_us })
    this.state = state
    for (const act of acts) this.act(act)
  }

  private act(act: SuperviseAct): void {
    const { charge } = this
    switch (act.do) {
      case 'beat':
        charge.beatsToController()
        return
      case 'send stop':
        charge.stopsController(act.how, act.by)
        return
      case 'off on spare':
        for (const { port, off_text } of atOnce(this.off)) charge.write(port, off_text)
        return
      case 'kill':
        charge.controllerDies('killed by the supervisor')
        return
      case 'make safe':
        charge.makeSafe()
        return
      case 'record':
        charge.records(act.what, act.text)
        return
      case 'notice':
        return
      case 'alarm':
        charge.alarmed()
        return
      case 'finish':
        charge.finished(act.result)
        return
    }
  }
}
