/** Runs `expired` when the oldest of the writes under way is not taken in time. */
export class WriteWatch {
  private pending = 0
  private timer: NodeJS.Timeout | null = null

  constructor(
    private readonly within_ms: number,
    private readonly expired: () => void,
  ) {}

  /** Something written has not been taken yet. */
  get waiting(): boolean {
    return this.pending > 0
  }

  begin(): void {
    this.pending += 1
    this.timer ??= setTimeout(this.expired, this.within_ms)
  }

  taken(): void {
    this.pending -= 1
    this.stop()
    if (this.pending > 0) this.timer = setTimeout(this.expired, this.within_ms)
  }

  stop(): void {
    if (this.timer !== null) clearTimeout(this.timer)
    this.timer = null
  }
}
