import { InvalidArgumentError } from 'commander'

/** Readers of flags that several commands share. */
export function collect(value: string, before: string[]): string[] {
  return [...before, value]
}

export function whole(text: string): number {
  if (!/^\d+$/.test(text)) throw new InvalidArgumentError('A whole number is wanted.')
  return Number(text)
}

export function speedOf(text: string): number {
  const value = Number(text)
  if (!/^\d+(\.\d+)?$/.test(text) || value < 1 || value > 20) {
    throw new InvalidArgumentError('A number from 1 to 20 is wanted.')
  }
  return value
}
