/** A record that cannot be made or read, in a sentence for a person: what happened, where, what it means, what to do. */
export class RecordTrouble extends Error {
  override readonly name = 'RecordTrouble'
  constructor(
    readonly code: 'exists' | 'cannot create' | 'cannot write' | 'full' | 'damaged' | 'cannot read',
    message: string,
    options?: ErrorOptions,
  ) {
    super(message, options)
  }
}
