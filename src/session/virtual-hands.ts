import { type Ask, fitAsked, liftAsked, type Plan, stepNumbered } from '../plan/index.js'
import type { Equipment } from '../equipment/index.js'
import type { BenchProcess } from './start-bench.js'

/** What a high-resistance hand meter takes, ohm (common practice, no source). */
const meter_ohm = 10e6
/** Hardly a current: of a meter that hangs there already. */
const nothing_ohm = 1e12

/** The least that a hand meter shows, in V, A and ohm (common practice, no source). */
const least = { V: 1e-3, A: 1e-6, Ω: 1e-3 } as const

/** A person at the program's own virtual bench has neither knob nor meter: the bench's own are turned and read. */
export class VirtualHands {
  private step = -1
  constructor(
    private readonly bench: BenchProcess,
    private readonly plan: Plan,
    private readonly equipment: Equipment,
    private readonly speed: number,
  ) {}

  /** Only faults that wait for a step use it. */
  stepIs(step: number): void {
    if (step === this.step) return
    this.step = step
    const planned = stepNumbered(this.plan, step)
    if (planned !== null) this.bench.tell({ kind: 'step', step: planned.index })
  }

  /** What a yes says was done is done to the set behind the bench. */
  answered(ask: Ask, value: number | 'yes' | 'no' | 'go on'): void {
    if (value !== 'yes') return
    const mode = stepNumbered(this.plan, this.step)?.mode
    if (ask.about === 'mode' && mode !== undefined) this.bench.tell({ kind: 'mode', mode })
    for (const part of liftAsked(ask.about)) this.bench.tell({ kind: 'lift', part })
    const fit = fitAsked(ask.about)
    if (fit !== null) this.bench.tell({ kind: 'fit', what: fit })
    const latched = /^clear (.+)$/.exec(ask.about)?.[1]
    if (latched !== undefined) this.bench.tell({ kind: 'clear', output: latched })
  }

  /** Turns the knob that the question is about, then reads the meter it asks for; null where it asks for none. */
  async meter(ask: Ask): Promise<number | null> {
    const { bench } = this
    if (ask.wants.kind !== 'reading') return null
    // What is read is what was put in.
    const fit = fitAsked(ask.about)
    if (fit !== null) bench.tell({ kind: 'fit', what: fit })
    const { node, rail, unit } = ask.wants
    const clipped = this.clippedOn(ask)
    if (clipped !== null) {
      const shown = await bench.probe(clipped.at, clipped.against, nothing_ohm)
      return onMeter(shown, unit)
    }
    if (rail !== null && unit === 'V' && this.plan.rails[rail]?.class !== 'programmed') {
      const step = stepNumbered(this.plan, this.step)
      // Asked to read it once more while another rail's step is on, nobody turns its knob.
      if (ask.about.startsWith('hand off')) bench.tell({ kind: 'turn', rail, volts: 0 })
      else if (step?.rail === rail && !ask.about.startsWith('renew'))
        bench.tell({ kind: 'turn', rail, volts: step.target_V })
      await new Promise((resolve) => setTimeout(resolve, 4000 / this.speed))
    }
    const shown = await this.reads(node, rail, unit, ask.wants.meter?.ohm ?? meter_ohm)
    return onMeter(shown, unit)
  }

  /** Where the meter hangs that is read on a lifted part: its own current flows already. */
  private clippedOn(ask: Ask): { readonly at: string; readonly against: string } | null {
    const name = /^read (.+)$/.exec(ask.about)?.[1]
    const part = this.plan.reform?.parts.find((each) => each.name === name)
    const meter = part === undefined ? undefined : this.plan.meters[part.meter]
    return meter?.at == null || meter.against === null ? null : { at: meter.at, against: meter.against }
  }

  private async reads(
    node: string | null,
    rail: string | null,
    unit: 'V' | 'A' | 'Ω',
    ohm: number,
  ): Promise<number | null> {
    if (node !== null && unit === 'Ω') return this.bench.ohms(node)
    if (node !== null) return this.bench.probe(node, this.equipment.chassis_node, ohm)
    if (rail === null) return null
    if (unit === 'Ω') return this.bench.ohms(rail)
    const seen = await this.bench.rail(rail)
    return seen === null ? null : unit === 'V' ? seen.volts : seen.amps
  }
}

/** Four digits, and none below its least: an open ohmmeter shows no number at all. */
function onMeter(value: number | null, unit: keyof typeof least): number | null {
  if (value === null || !Number.isFinite(value)) return value
  const steps = Math.round(value / least[unit])
  return Number((steps * least[unit]).toPrecision(4))
}
