import type { Unit } from './units.js'

const steps = [
  { from: 1e9, exponent: -9, prefix: 'G' },
  { from: 1e6, exponent: -6, prefix: 'M' },
  { from: 1e3, exponent: -3, prefix: 'k' },
  { from: 1, exponent: 0, prefix: '' },
  { from: 1e-3, exponent: 3, prefix: 'm' },
  { from: 1e-6, exponent: 6, prefix: 'µ' },
  { from: 1e-9, exponent: 9, prefix: 'n' },
  { from: 1e-12, exponent: 12, prefix: 'p' },
] as const

/** Prefixes people use with each unit; others would only surprise. */
const used: Readonly<Record<Unit, string>> = {
  V: 'mµk',
  A: 'mµnp',
  Ω: 'mkMG',
  F: 'µnp',
  H: 'mµ',
  W: 'mµk',
  s: 'mµ',
  'V/s': 'mk',
  J: 'mµk',
  Hz: 'kMG',
  S: 'mµ',
  '°C': '',
  ratio: '',
}

/**
 * A quantity as people read it: `45 mA`, `250 V`, `4.7 kΩ`, `16 µF`, `10 min`, `5 %`. Four significant digits at most.
 * Parses back to the same value within those digits. Not a number or infinite: `no value`.
 */
export function formatQuantity(value: number, unit: Unit): string {
  if (!Number.isFinite(value)) return 'no value'
  if (unit === 'ratio') return `${formatNumber(value * 100)} %`
  const size = Math.abs(value)
  if (unit === 's' && size >= 7200) return `${formatNumber(value / 3600)} h`
  if (unit === 's' && size >= 120) return `${formatNumber(value / 60)} min`
  const rounded = Math.abs(Number(value.toPrecision(4)))
  const allowed = steps.filter((step) => step.prefix === '' || used[unit].includes(step.prefix))
  const step = allowed.find((each) => rounded >= each.from) ?? allowed[allowed.length - 1]
  if (step === undefined || rounded < 1e-14) return `0 ${unit}`
  return `${formatNumber(Number(`${value}e${step.exponent}`) || value * Number(`1e${step.exponent}`))} ${step.prefix}${unit}`
}

/** As `formatQuantity`, to three digits: what is said in sentences and seen at a bench. One number is shown one way. */
export function formatShort(value: number, unit: Unit): string {
  return formatQuantity(Number(value.toPrecision(3)), unit)
}

/** A bare number for people: at most `digits` significant digits, no trailing zeros, no exponent below a million million. */
export function formatNumber(value: number, digits = 4): string {
  if (!Number.isFinite(value)) return 'no value'
  if (value === 0) return '0'
  const short = Number(value.toPrecision(digits))
  const text = String(Math.abs(short))
  const plain =
    text.includes('e') && Math.abs(short) < 1
      ? Math.abs(short).toFixed(12).replace(/0+$/, '').replace(/\.$/, '')
      : text
  return short < 0 ? `-${plain}` : plain
}
