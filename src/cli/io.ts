import { toTerminal } from './wrap.js'

/** What a command may touch of the outside: given to it, so that tests can stand in. */
export interface Io {
  readonly out: (text: string) => void
  readonly err: (text: string) => void
  readonly isTerminal: boolean
  readonly colour: boolean
  /** Characters in a line of the terminal; nothing where it is none. */
  readonly columns?: number | undefined
  readonly cwd: string
  readonly env: Readonly<Record<string, string | undefined>>
}

export function processIo(): Io {
  return {
    out: (text) => {
      process.stdout.write(text.endsWith('\n') ? text : `${text}\n`)
    },
    err: (text) => {
      const broken = toTerminal(text, process.stderr.isTTY ? process.stderr.columns : undefined)
      process.stderr.write(broken.endsWith('\n') ? broken : `${broken}\n`)
    },
    isTerminal: process.stdout.isTTY,
    columns: process.stdout.columns,
    colour: process.stderr.isTTY && process.env['NO_COLOR'] === undefined,
    cwd: process.cwd(),
    env: process.env,
  }
}

/** One JSON document on stdout, nothing else. */
export function printJson(io: Io, value: unknown): void {
  io.out(JSON.stringify(value, null, 2))
}

/** Who is at the keyboard, as the system names them. */
export function userName({ env }: Pick<Io, 'env'>): string {
  return env['USER'] ?? env['LOGNAME'] ?? 'not named'
}
