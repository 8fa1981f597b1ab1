import type { ModeName, NodeName, RailName } from '../equipment/index.js'

/** The handbook's charts in a plan. Both figures stand wherever two sources speak of one thing. */
export interface PlanCharts {
  /** The bench's voltmeter that node volts are told for. */
  readonly meter: string
  readonly meter_ohm: number
  /** How far a reading may be off its chart, relative. */
  readonly within: number
  readonly nodes: readonly ChartNode[]
  readonly cold: readonly ChartCold[]
  readonly rails: readonly ChartRail[]
  /** Level 2: what is judged that a level-1 file could not. */
  readonly judges: readonly string[]
}
export interface ChartNode {
  readonly mode: ModeName
  readonly node: NodeName
  /** At the rail volts the chart was taken at, by its own meter. */
  readonly chart_V: number
  readonly chart_meter: string
  readonly chart_meter_ohm: number
  /** What the bench's meter should read there at those rail volts; `corrected`: its load and the chart meter's are counted. */
  readonly reads_V: number
  readonly corrected: boolean
  /** Level 3: the circuit's volts with the chart's meter as part of it, and with none. */
  readonly network_V: number | null
  readonly network_open_V: number | null
  readonly apart: number | null
  readonly agrees: boolean | null
  readonly text: string
  readonly source: string
}
export interface ChartCold {
  readonly mode: ModeName
  readonly node: NodeName
  readonly to: NodeName
  readonly ohm: number
  readonly low_ohm: number
  readonly high_ohm: number
  readonly network_ohm: number | null
  readonly agrees: boolean | null
  readonly text: string
  readonly source: string
}
export interface ChartRail {
  readonly rail: RailName
  readonly mode: ModeName
  readonly at_V: number
  readonly chart_A: number
  readonly total_A: number | null
  readonly apart: number | null
  readonly agrees: boolean | null
  readonly shares: readonly {
    readonly part: string
    readonly A: number
    readonly how: string
    readonly by: 'chart' | 'type' | 'resistor'
  }[]
  readonly text: string
  readonly source: string
}
