import { describe, expect, it } from 'vitest'
import { Rig } from '../helpers/rig.js'
import { smallPlan } from '../helpers/small-plan.js'

/** The question for the first polarity, open and not yet answered. */
const polarityAsked = (): Rig => {
  const rig = new Rig(smallPlan()).start()
  rig.until('the first output', () => rig.state.part === 'hook-up on')
  rig.answers = false
  return rig.until('the question', () => rig.state.prompt?.purpose.kind === 'polarity')
}
const say = (rig: Rig, value: number | 'yes' | 'no' | 'go on'): string => {
  const from = rig.commands.length
  rig.feed({ kind: 'answer', prompt: rig.state.prompt?.id ?? 0, value, by: 'page' })
  return rig.commands
    .slice(from)
    .flatMap((command) => (command.kind === 'prompt' ? [command.ask.text] : []))
    .join()
}

describe('a question that wants a yes', () => {
  const handsClear = (): Rig => {
    const rig = new Rig(smallPlan()).start()
    rig.until('heaters warm', () => rig.state.step === 5)
    rig.answers = false
    return rig.until('hands clear?', () => rig.state.prompt?.purpose.kind === 'hands clear')
  }

  it('takes nothing else for it, and says what is wanted', () => {
    for (const value of [0, 1, Number.NaN, 'go on'] as const) {
      const rig = handsClear()
      expect(say(rig, value)).toMatch(/^Yes or no is wanted here\. Hands clear\?/)
      expect(rig.state.hands_clear_until_us).toBeNull()
      expect(rig.state.prompt).not.toBeNull()
    }
  })

  it('takes a yes', () => {
    const rig = handsClear()
    say(rig, 'yes')
    expect(rig.state.hands_clear_until_us).not.toBeNull()
  })

  it('takes "go on" where that is what it offers', () => {
    const rig = new Rig(smallPlan()).start()
    rig.until('HT step', () => rig.state.step === 5)
    rig.ohm['HT'] = 16_000
    rig.until('hands clear', () => rig.state.hands_clear_until_us !== null)
    rig.answers = false
    rig.until('weak', () => rig.state.prompt?.purpose.kind === 'weak')
    expect(rig.state.prompt?.text).toContain('Go on, or stop?')
    say(rig, 'go on')
    expect(rig.state.warnings.some((text) => text.includes('weak'))).toBe(true)
  })
})

describe('a question that wants a number', () => {
  it('does not let through what is no number at all', () => {
    const rig = polarityAsked()
    say(rig, Number.NaN)
    expect(rig.state.prompt?.tries).toBe(1)
    say(rig, Number.NaN)
    expect(rig.state.off?.reason?.code).toBe('hook-up')
  })

  it('says so when it is answered with a word', () => {
    const rig = polarityAsked()
    expect(say(rig, 'yes')).toMatch(/^A number of V is wanted here\. /)
    expect(rig.state.prompt?.tries).toBe(0)
    expect(rig.state.part).toBe('hook-up polarity')
  })
})
