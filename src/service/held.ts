import { type Held, inForce, type LiveHeld, type LiveView } from './api/index.js'

/** How far back it is kept, s of the run: a page that comes in the middle of a run shows as much. */
const behind_s = 180
/** A rise is a thousand small steps: less than this part of the ceiling is not told apart. */
const worth = 0.005

interface From {
  readonly t_s: number
  readonly limits: Held | null
}

/** What each rail was held against in the last minutes, for whoever comes in the middle of a run. */
export class HeldLately {
  private rails = new Map<string, From[]>()
  private latest_s = 0

  begin(): void {
    this.rails = new Map()
    this.latest_s = 0
  }

  see({ elapsed_s, rails }: Pick<LiveView, 'elapsed_s' | 'rails'>): void {
    // The run's clock begins anew once its hook-up is confirmed.
    if (elapsed_s < this.latest_s) this.begin()
    this.latest_s = elapsed_s
    for (const rail of rails) {
      const limits = inForce(rail.limits, rail)
      const all = this.rails.get(rail.rail) ?? []
      this.rails.set(rail.rail, all)
      const last = all.at(-1)
      if (last === undefined || !isNear(last.limits, limits)) all.push({ t_s: elapsed_s, limits })
      // What held when the time that is kept began is needed still.
      while ((all[1]?.t_s ?? Infinity) <= elapsed_s - behind_s) all.shift()
    }
  }

  told(): LiveHeld {
    const of = (all: readonly From[], key: keyof Held) => all.map(({ limits }) => limits?.[key] ?? null)
    return {
      rails: [...this.rails].map(([rail, all]) => ({
        rail,
        t_s: all.map(({ t_s }) => t_s),
        lower_A: of(all, 'lower_A'),
        upper_A: of(all, 'upper_A'),
        trip_A: of(all, 'trip_A'),
        ceiling_A: of(all, 'ceiling_A'),
      })),
    }
  }
}

function isNear(a: Held | null, b: Held | null): boolean {
  if (a === null || b === null) return a === b
  const room_A = worth * b.ceiling_A
  const keys = ['lower_A', 'upper_A', 'trip_A', 'ceiling_A'] as const
  return keys.every((key) => Math.abs(a[key] - b[key]) <= room_A)
}
