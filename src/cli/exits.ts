/**
 * Exit codes of the `slowglow` binary. 4 wins over every other: outputs NOT confirmed off. 5 is for a start that energised
 * nothing and found nothing on; `safe-off` knows nothing of the kind about a silent port, and ends with 4 there.
 */
export const exits = {
  done: 0,
  finding: 1,
  usage: 2,
  tripped: 3,
  notConfirmedOff: 4,
  notReachable: 5,
  recordNotAvailable: 6,
  stopped: 7,
  rigFailed: 8,
  ourFault: 70,
} as const
export type Exit = (typeof exits)[keyof typeof exits]
