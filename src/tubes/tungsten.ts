/**
 * Resistivity of tungsten, µΩ·cm, at 300 K and every 100 K to 3600 K.
 * Source: Forsythe and Worthing 1925, as stored in two open data collections that ascribe the table to them.
 */
const rho_uohm_cm: readonly number[] = [
  5.65, 8.06, 10.56, 13.23, 16.09, 19, 21.94, 24.93, 27.94, 30.98, 34.08, 37.19, 40.36, 43.55, 46.78, 50.05,
  53.35, 56.67, 60.06, 63.48, 66.91, 70.39, 73.91, 77.49, 81.04, 84.7, 88.33, 92.04, 95.76, 99.54, 103.3,
  107.2, 111.1, 115,
]
const first_K = 300
const step_K = 100

/** µΩ·cm at `kelvin`, linear between the table's points and beyond its ends. */
export function tungstenResistivity(kelvin: number): number {
  const place = (kelvin - first_K) / step_K
  const i = Math.min(rho_uohm_cm.length - 2, Math.max(0, Math.floor(place)))
  const below = rho_uohm_cm[i] ?? 0
  const above = rho_uohm_cm[i + 1] ?? below
  return Math.max(0, below + (above - below) * (place - i))
}

/** Kelvin at which tungsten has `ratio` times its resistivity at 300 K; linear between the table's points. */
export function tungstenKelvin(ratio: number): number {
  const wanted = ratio * tungstenResistivity(first_K)
  let i = 0
  while (i < rho_uohm_cm.length - 2 && (rho_uohm_cm[i + 1] ?? 0) < wanted) i++
  const below = rho_uohm_cm[i] ?? 0
  const above = rho_uohm_cm[i + 1] ?? below
  return first_K + step_K * (i + (wanted - below) / (above - below))
}
