/** One measured figure. A ratio is against the yardstick measured in the same run; milliseconds alone say little. */
export interface Figure {
  readonly what: string
  readonly value: number
  readonly unit: string
  /** What it was held against, with its own figure. */
  readonly yardstick: string
  readonly ratio: number | null
  readonly target: string
  /** Null: shown, not judged. */
  readonly met: boolean | null
}

export function median(values: readonly number[]): number {
  return quantile(values, 0.5)
}

export function quantile(values: readonly number[], part: number): number {
  const sorted = [...values].sort((a, b) => a - b)
  return sorted[Math.min(sorted.length - 1, Math.floor(part * sorted.length))] ?? NaN
}

/** Milliseconds of each of `rounds` calls, after one that is not counted. */
export function times_ms(rounds: number, call: () => void): number[] {
  call()
  const all: number[] = []
  for (let i = 0; i < rounds; i++) {
    const from = process.hrtime.bigint()
    call()
    all.push(Number(process.hrtime.bigint() - from) / 1e6)
  }
  return all
}

let loop: number | null = null
/** The yardstick of milliseconds: a fixed arithmetic loop of ten million additions and multiplications, in this run. */
export function arithmetic_ms(): number {
  loop ??= median(
    times_ms(5, () => {
      let sum = 0
      for (let i = 0; i < 1e7; i++) sum = sum * 0.999999 + i
      if (sum === 0) throw new Error('never')
    }),
  )
  return loop
}

export const againstLoop = (): string => `arithmetic loop of this run: ${arithmetic_ms().toFixed(1)} ms`
