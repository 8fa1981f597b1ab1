import { describe, expect, it } from 'vitest'
import type { MercuryWatch } from '../../src/plan/index.js'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'
import { ran } from '../helpers/standing.js'

/* Mercury-vapour rectifiers: asked about once, all of them by name, and not where the set's file has said it. */

const watch = (tubes: string[], stated: string | null): MercuryWatch => ({
  tubes,
  first_use_s: 1800,
  stated,
  condensed_low_C: 20,
  condensed_high_C: 60,
  text: 'invented for this test',
  source: 'invented',
})
const begun = (mercury: MercuryWatch | undefined, says: 'yes' | 'no'): Rig => {
  const rig = new Rig(
    smallPlan((plan) => ({
      ...plan,
      heaters: plan.heaters.map((one) => (mercury === undefined ? one : { ...one, mercury })),
    })),
  ).start()
  rig.unanswered = /^mercury$/
  ran(rig, 3)
  if (rig.state.prompt?.purpose.kind === 'mercury') rig.answer(says)
  return ran(rig, 1)
}
const texts = (rig: Rig): string =>
  rig.commands
    .flatMap((command) =>
      command.kind === 'prompt' ? [command.ask.text] : command.kind === 'record' ? [command.entry.text] : [],
    )
    .join('\n')

describe('mercury-vapour rectifiers', () => {
  it('are asked about together, each by its name, and the time of their filaments alone is recorded', () => {
    const rig = begun(watch(['V5', 'V6'], null), 'no')
    expect(rig.asked()).toContain('mercury')
    expect(texts(rig)).toContain('Mercury-vapour rectifier V5, V6: has it worked before')
    expect(texts(rig)).toContain('filament alone before any HT: V5, V6: 1800 s')
    expect(rig.state.mercury).toBe('disturbed')
  })

  it('have the short time where they stand as they worked', () => {
    const rig = begun(watch(['V5', 'V6'], null), 'yes')
    expect(texts(rig)).toContain('filament alone before any HT: V5, V6: 30 s')
  })

  it('are not asked about where the file of the set says how they stand', () => {
    const rig = begun(watch(['V5'], 'V5 is stated as moved'), 'yes')
    expect(rig.asked()).not.toContain('mercury')
    expect(rig.state).toMatchObject({ mercury: 'not asked', outputs_proved: true })
    expect(begun(undefined, 'yes').asked()).not.toContain('mercury')
  })
})
