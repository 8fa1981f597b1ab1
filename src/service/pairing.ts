import { createHash, createHmac, randomBytes, randomInt, timingSafeEqual } from 'node:crypto'

/** Unlike each other to the eye. 31 of them, eight drawn: 40 bits, and ten wrong ones draw another. */
const letters = 'ABCDEFGHJKMNPQRSTUVWXYZ23456789'
const drawn = 8
const most_wrong = 10
/** A device that was away longer gives the code again. */
export const paired_for_s = 30 * 86_400

export interface Device {
  /** Drawn at pairing, told in the record and in the terminal: by it one device is told from another, and forgotten alone. */
  readonly id: string
  readonly name: string
}
/** Of a name given before names were looked at: nothing that moves a terminal's cursor goes on from here. */
const plain = (name: string): string => name.replaceAll(/\p{C}/gu, '')

/** The code shown in the terminal, and the tokens that devices get for it. */
export class Pairing {
  private code = ''
  private wrong = 0

  /**
   * `key`: what tokens are signed with; another one forgets every device. `shows`: a new code, to be shown in the terminal.
   * `forgotten`: marks of devices that have to give a code again, asked at every use: one may be ended while the service runs.
   */
  constructor(
    private readonly key: Buffer,
    private readonly shows: (code: string) => void,
    private readonly now_s: () => number = () => Date.now() / 1000,
    private readonly forgotten: () => ReadonlySet<string> = () => new Set(),
  ) {
    this.draw()
  }

  /** A token for this device, or null: not the code. A code is good once. */
  pair(code: string, name: string): { readonly token: string; readonly device: Device } | null {
    const given = code.toUpperCase().replaceAll(/[^A-Z0-9]/g, '')
    if (!same(given, this.code)) {
      this.wrong += 1
      if (this.wrong >= most_wrong) this.draw()
      return null
    }
    this.draw()
    const device = { id: randomBytes(3).toString('hex'), name: plain(name) }
    const body = Buffer.from(JSON.stringify({ ...device, at: Math.floor(this.now_s()) })).toString(
      'base64url',
    )
    return { token: `${body}.${this.sign(body)}`, device }
  }

  /** The device that this token was given to; null: none of ours, forgotten, or too old. */
  device(token: string | undefined): Device | null {
    const [body = '', mark = '', more] = (token ?? '').split('.')
    if (body === '' || more !== undefined || !same(mark, this.sign(body))) return null
    const { id, name, at } = JSON.parse(Buffer.from(body, 'base64url').toString('utf8')) as Device & {
      readonly at: number
    }
    if (this.forgotten().has(id) || this.now_s() - at >= paired_for_s) return null
    return { id, name: plain(name) }
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
