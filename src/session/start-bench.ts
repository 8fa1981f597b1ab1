import { type ChildProcess, fork } from 'node:child_process'
import { fileURLToPath } from 'node:url'
import type { PortLine } from '../supply/index.js'
import { type FromBench, fromBenchShape, type ToBench } from './bench-messages.js'

/** A virtual bench as a process of its own, so that killing a controller never kills the supply. */
export interface BenchProcess {
  readonly places: Readonly<Record<string, PortLine>>
  tell(message: Exclude<ToBench, { kind: 'probe' | 'ohms' | 'truth' }>): void
  /** What a hand meter shows now; null when the bench does not answer. */
  probe(node: string, against: string, ohm: number): Promise<number | null>
  /** What a hand ohmmeter shows at the lead ends of a rail. */
  ohms(rail: string): Promise<number | null>
  rail(rail: string): Promise<{ readonly volts: number; readonly amps: number } | null>
  end(): void
  /** Called once when the bench ends without having been told to, with what it said. */
  lost(told: (text: string) => void): void
}

export interface BenchStart {
  readonly bench: string
  readonly as: 'pty' | 'tcp'
  readonly speed: number
  readonly faults: readonly string[]
  readonly seed: number | null
  readonly mode: string
  /** A resistor in place of the set: `SUPPLY.CHANNEL=OHMS`, and its tolerance. */
  readonly load: { readonly at: string; readonly tolerance: number } | null
  /** Electrolytics lifted out of the set instead of the set: the profile that names them. */
  readonly lifted: string | null
  /** Aborted when nobody waits for the bench any more. */
  readonly givenUp: AbortSignal
}

const answer_within_ms = 1000
const start_within_ms = 20_000

export async function startBench(start: BenchStart): Promise<BenchProcess | { readonly trouble: string }> {
  const program = fileURLToPath(new URL('../cli/main.js', import.meta.url))
  const args = [
    'virtual-bench',
    ...['--bench', start.bench, '--speed', String(start.speed), '--mode', start.mode],
    ...(start.as === 'pty' ? ['--pty'] : ['--tcp', '0']),
    ...(start.load === null
      ? []
      : ['--load', start.load.at, '--load-tolerance', String(start.load.tolerance)]),
    ...(start.lifted === null ? [] : ['--lifted', start.lifted]),
    ...(start.seed === null ? [] : ['--seed', String(start.seed)]),
    ...start.faults.flatMap((fault) => ['--fault', fault]),
  ]
  const child = fork(program, args, { detached: true, stdio: ['ignore', 'ignore', 'pipe', 'ipc'] })
  let said = ''
  child.stderr?.setEncoding('utf8')
  child.stderr?.on('data', (text: string) => {
    said += text
  })
  const waiting = new Map<number, (message: FromBench | null) => void>()
  const places = await new Promise<Readonly<Record<string, PortLine>> | null>((resolve) => {
    const settle = (found: Readonly<Record<string, PortLine>> | null): void => {
      clearTimeout(given)
      resolve(found)
    }
    const given = setTimeout(() => {
      said += `It named no ports within ${start_within_ms / 1000} s.`
      settle(null)
    }, start_within_ms)
    start.givenUp.addEventListener('abort', () => {
      settle(null)
    })
    child.on('message', (raw) => {
      const parsed = fromBenchShape.safeParse(raw)
      if (!parsed.success) return
      const message = parsed.data
      if (message.kind === 'ports') settle(message.places)
      else if (message.kind !== 'trouble') {
        waiting.get(message.id)?.(message)
        waiting.delete(message.id)
      }
    })
    child.on('exit', () => {
      settle(null)
    })
    child.on('error', () => {
      settle(null)
    })
  })
  if (places === null) {
    child.kill('SIGKILL')
    return { trouble: said.trim() === '' ? 'The virtual bench could not be started.' : said.trim() }
  }
  return new Running(child, places, waiting, () => said.trim())
}

class Running implements BenchProcess {
  private id = 0
  private ended = false
  constructor(
    private readonly child: ChildProcess,
    readonly places: Readonly<Record<string, PortLine>>,
    private readonly waiting: Map<number, (message: FromBench | null) => void>,
    private readonly said: () => string,
  ) {}

  lost(told: (text: string) => void): void {
    this.child.on('exit', (code, signal) => {
      if (!this.ended)
        told(`The virtual bench ended by itself (${signal ?? `exit code ${code ?? 0}`}). ${this.said()}`)
    })
  }

  tell(message: ToBench): void {
    if (this.child.connected) this.child.send(message, () => undefined)
  }

  async ohms(rail: string): Promise<number | null> {
    const answer = await this.ask((id) => ({ kind: 'ohms', id, rail }))
    return answer?.kind === 'probed' ? answer.value : null
  }

  async probe(node: string, against: string, ohm: number): Promise<number | null> {
    const answer = await this.ask((id) => ({ kind: 'probe', id, node, against, ohm }))
    return answer?.kind === 'probed' ? answer.value : null
  }

  async rail(rail: string): Promise<{ readonly volts: number; readonly amps: number } | null> {
    const answer = await this.ask((id) => ({ kind: 'truth', id }))
    return answer?.kind === 'truth' ? (answer.rails[rail] ?? null) : null
  }

  end(): void {
    this.ended = true
    this.tell({ kind: 'quit' })
    if (this.child.connected) this.child.disconnect()
    this.child.unref()
  }

  private ask(message: (id: number) => ToBench): Promise<FromBench | null> {
    const id = ++this.id
    return new Promise((resolve) => {
      const given = setTimeout(() => {
        this.waiting.delete(id)
        resolve(null)
      }, answer_within_ms)
      this.waiting.set(id, (answer) => {
        clearTimeout(given)
        resolve(answer)
      })
      this.tell(message(id))
    })
  }
}
