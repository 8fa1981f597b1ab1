/** Figures in sentences: people read mA and V. */
export function amps(value: number): string {
  const size = Math.abs(value)
  if (size >= 1) return `${value.toFixed(2)} A`
  if (size >= 0.1) return `${(value * 1e3).toFixed(0)} mA`
  if (size >= 1e-3) return `${(value * 1e3).toFixed(1)} mA`
  return `${(value * 1e6).toFixed(0)} µA`
}

export function volts(value: number): string {
  return Math.abs(value) >= 100 ? `${value.toFixed(0)} V` : `${value.toFixed(1)} V`
}
