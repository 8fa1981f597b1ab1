import type { FaultKind } from './types.js'

/*
 * How often faults come, against one another. All of it is common practice, no source: in sets that have stood for decades
 * contacts and joints, electrolytics and paper capacitors come first, then drifted resistors, tubes, and windings last.
 */
type Weights = Readonly<Partial<Record<FaultKind, number>>>

export const weightSource = 'common practice, no source'

export const weights: Readonly<Record<string, Weights>> = {
  electrolytic: { short: 1, leaky: 3, open: 1, low: 3 },
  paper: { short: 1, leaky: 4, open: 0.3 },
  film: { short: 0.2, leaky: 0.2, open: 0.1 },
  ceramic: { short: 0.2, leaky: 0.2, open: 0.1 },
  mica: { short: 0.1, leaky: 0.1, open: 0.1 },
  'carbon composition': { open: 0.5, short: 0.02, drift: 2 },
  resistor: { open: 0.4, short: 0.02, drift: 0.2 },
  wirewound: { open: 0.7, short: 0.02, drift: 0.1 },
  potentiometer: { open: 0.4, 'wiper-open': 0.7 },
  tube: {
    missing: 0.5,
    'heater-open': 0.7,
    'heater-short': 0.1,
    short: 0.1,
    'no-emission': 0.5,
    weak: 2,
    strong: 0.2,
    gassy: 0.7,
    'grid-short': 0.2,
    'screen-short': 0.1,
    'heater-leak': 0.4,
    'plate-open': 0.3,
    'screen-open': 0.3,
    'grid-open': 0.3,
    'cathode-open': 0.3,
    'wrong-type': 0.15,
  },
  regulator: { 'no-emission': 1, missing: 0.5, 'wrong-type': 0.2 },
  winding: { open: 0.4, short: 0.1 },
  contact: { open: 3, stuck: 1 },
  fuse: { open: 1 },
  lamp: { open: 1.5 },
  diode: { open: 0.3, short: 0.5, leaky: 0.5 },
  rail: { 'lead-off': 0.5, 'bias-lost': 0.5 },
}
