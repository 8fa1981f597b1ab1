import { createHash, createHmac, randomBytes, randomInt, timingSafeEqual } from 'node:crypto'

/** Unlike each other to the eye. 31 of them, eight drawn: 40 bits, and ten wrong ones draw another. */
const letters = 'ABCDEFGHJKMNPQRSTUVWXYZ23456789'
const drawn = 8
const most_wrong = 10
/** A device that was away longer gives the code again. */
export const paired_for_s = 30 * 86_400

/** The code shown in the terminal, and the tokens that devices get for it. */
export class Pairing {
  private code = ''
  private wrong = 0

  /** `key`: what tokens are signed with; another one forgets every device. `shows`: a new code, to be shown in the terminal. */
  constructor(
    private readonly key: Buffer,
    private readonly shows: (code: string) => void,
    private readonly now_s: () => number = () => Date.now() / 1000,
  ) {
    this.draw()
  }

  /** A token for this device, or null: not the code. A code is good once. */
  pair(code: string, name: string): string | null {
    const given = code.toUpperCase().replaceAll(/[^A-Z0-9]/g, '')
    if (!same(given, this.code)) {
      this.wrong += 1
      if (this.wrong >= most_wrong) this.draw()
      return null
    }
    this.draw()
    const body = Buffer.from(
      JSON.stringify({ id: randomBytes(6).toString('hex'), name, at: Math.floor(this.now_s()) }),
    ).toString('base64url')
    return `${body}.${this.sign(body)}`
  }

  /** The name of the device that this token was given to; null: none of ours, or too old. */
  device(token: string | undefined): string | null {
    const [body = '', mark = '', more] = (token ?? '').split('.')
    if (body === '' || more !== undefined || !same(mark, this.sign(body))) return null
    const { name, at } = JSON.parse(Buffer.from(body, 'base64url').toString('utf8')) as {
      name: string
      at: number
    }
    return this.now_s() - at < paired_for_s ? name : null
  }

  private sign(body: string): string {
    return createHmac('sha256', this.key).update(body).digest('base64url')
  }

  private draw(): void {
    this.wrong = 0
    this.code = Array.from({ length: drawn }, () => letters[randomInt(letters.length)]).join('')
    this.shows(`${this.code.slice(0, 4)}-${this.code.slice(4)}`)
  }
}

/** Takes the same time whatever is given. */
function same(a: string, b: string): boolean {
  const of = (text: string): Buffer => createHash('sha256').update(text).digest()
  return timingSafeEqual(of(a), of(b))
}
