/** What a figure of this kind is typed in, the most usual first. */
const scales: Readonly<Record<string, readonly string[]>> = {
  V: ['V', 'mV', 'µV'],
  A: ['mA', 'A'],
  Ω: ['Ω', 'kΩ', 'MΩ'],
  Hz: ['MHz', 'kHz', 'Hz'],
  W: ['W', 'mW', 'kW'],
  ratio: ['%'],
}
export const scalesOf = (unit: string): readonly string[] => scales[unit] ?? [unit]
/** Chosen before anything is typed: volts and milliamps, as most meters show. Ohms are chosen each time: 5 Ω is a short, 5 kΩ a set. */
export const chosenFirst = (units: readonly string[]): string =>
  units.includes('kΩ') ? '' : (units[0] ?? '')
