import { describe, expect, it } from 'vitest'
import { parted } from '../../src/console/words/parted.js'

describe('the sentence of an ending on the page', () => {
  it('has what happened by itself, then why, then what to do', () => {
    expect(
      parted(
        'HT drew 59.5 mA at 100 V. Ceiling 38.5 mA, of which V1 has 2.5 W. Next: measure before touching; read C1.',
      ),
    ).toEqual([
      'HT drew 59.5 mA at 100 V.',
      'Ceiling 38.5 mA, of which V1 has 2.5 W.',
      'Next: measure before touching; read C1.',
    ])
    expect(parted('HT: not confirmed (gone. Look at it.). It was not done. More.')).toEqual([
      'HT: not confirmed (gone. Look at it.).',
      'It was not done. More.',
    ])
    expect(parted('Completed.')).toEqual(['Completed.'])
    expect(parted('')).toEqual([''])
  })
})
