import { type ChildProcess, spawn } from 'node:child_process'
import { copyFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import { setTimeout as sleep } from 'node:timers/promises'
import { readSet } from './read-set.js'
import { program } from './terminal.js'

const demo = 'profiles/tern-rock'

/** The demo's virtual bench running as a program of its own, and a bench file that names its terminal lines as serial ports. */
export class BenchProgram {
  readonly folder = mkdtempSync(join(tmpdir(), 'slowglow-bench-'))
  readonly bench_file = join(this.folder, 'bench.yaml')
  /** The short receive profile on that bench, of a set whose cold checks were taken. */
  readonly profile_file = join(this.folder, 'receive.yaml')
  paths: Readonly<Record<string, string>> = {}
  private said = ''
  private constructor(private readonly child: ChildProcess) {
    child.stdout?.setEncoding('utf8')
    child.stdout?.on('data', (text: string) => {
      this.said += text
    })
  }

  static async start(...args: string[]): Promise<BenchProgram> {
    const child = spawn(
      process.execPath,
      [program, 'virtual-bench', '--bench', `${demo}/bench.yaml`, '--pty', ...args],
      { stdio: ['pipe', 'pipe', 'ignore'] },
    )
    const bench = new BenchProgram(child)
    const places = (await bench.message('ports'))['places'] as Record<string, { path: string }>
    bench.paths = Object.fromEntries(Object.entries(places).map(([port, { path }]) => [port, path]))
    bench.writeBenchFile()
    return bench
  }

  private writeBenchFile(): void {
    let text = readFileSync(`${demo}/bench.yaml`, 'utf8')
    // Each virtual line stands under the name of its supply or meter.
    for (const [port, path] of Object.entries(this.paths)) {
      const at = text.indexOf('{ kind: virtual, as: pty }', text.indexOf(`\n  ${port}:\n`))
      text = `${text.slice(0, at)}${text.slice(at).replace('{ kind: virtual, as: pty }', `{ kind: serial, path: ${path}, baud: 115200 }`)}`
    }
    writeFileSync(
      this.bench_file,
      text.replace('kind: virtual', 'kind: real').replace(/^(equipment|seed): .*$/gm, ''),
    )
    const set = join(this.folder, 'equipment.yaml')
    copyFileSync(`${demo}/equipment.yaml`, set)
    readSet(set)
    const profile = readFileSync('tests/helpers/short/receive.yaml', 'utf8')
    writeFileSync(
      this.profile_file,
      profile
        .replace(/^equipment: .*$/m, 'equipment: equipment.yaml')
        .replace(/^bench: .*$/m, 'bench: bench.yaml'),
    )
  }

  private async message(kind: string): Promise<Record<string, unknown>> {
    for (let spent = 0; spent < 10_000; spent += 10) {
      for (const line of this.said.split('\n').slice(0, -1)) {
        const message = JSON.parse(line) as Record<string, unknown>
        if (message['kind'] === kind) return message
      }
      await sleep(10)
    }
    throw new Error(`The virtual bench did not say "${kind}". It said: ${this.said}`)
  }

  async outputs(): Promise<Record<string, boolean>> {
    this.said = ''
    this.child.stdin?.write('{"kind":"truth","id":1}\n')
    return (await this.message('truth'))['outputs'] as Record<string, boolean>
  }

  async end(): Promise<void> {
    this.child.stdin?.write('{"kind":"quit"}\n')
    await sleep(200)
    this.child.kill('SIGKILL')
    rmSync(this.folder, { recursive: true, force: true })
  }
}
