import { type ChildProcess, execFileSync, spawn, spawnSync } from 'node:child_process'
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs'
import { createServer } from 'node:net'
import { tmpdir } from 'node:os'
import { join } from 'node:path'
import mqtt from 'mqtt'

const found = ['mosquitto', '/usr/sbin/mosquitto', '/usr/local/sbin/mosquitto'].find(
  (path) => spawnSync(path, ['-h'], { stdio: 'ignore' }).error === undefined,
)

/** Alerts over MQTT are tried with a real broker. Its absence skips them on a desk and fails them in CI, where it is installed. */
export function skipWithoutBroker(): boolean {
  if (found !== undefined) return false
  if (process.env['CI'] === 'true')
    throw new Error('mosquitto is missing: install it (package "mosquitto") before the tests of alerts')
  console.warn('Tests of alerts over MQTT are skipped: install mosquitto (package "mosquitto") to run them.')
  return true
}

export const user = 'bench'
export const password = 'not a secret'

/** A broker of its own on a free port, which asks for a password, and a reader of everything under one topic. */
export class Broker {
  readonly heard: {
    readonly topic: string
    readonly retained: boolean
    readonly body: Record<string, unknown>
  }[] = []
  private reader: mqtt.MqttClient | null = null
  private constructor(
    private readonly child: ChildProcess,
    private readonly folder: string,
    readonly port: number,
  ) {}

  get url(): string {
    return `mqtt://127.0.0.1:${this.port}`
  }

  static async start(topic: string, port?: number): Promise<Broker> {
    const folder = mkdtempSync(join(tmpdir(), 'slowglow-broker-'))
    const on = port ?? (await freePort())
    const passwords = join(folder, 'passwords')
    execFileSync('mosquitto_passwd', ['-b', '-c', passwords, user, password])
    const conf = [`listener ${on} 127.0.0.1`, `password_file ${passwords}`, 'persistence false']
    // As root it would give its rights up, and the folder is root's.
    if (process.getuid?.() === 0) conf.push('user root')
    const file = join(folder, 'broker.conf')
    writeFileSync(file, `${conf.join('\n')}\n`)
    const child = spawn(found ?? 'mosquitto', ['-c', file], { stdio: 'ignore' })
    const broker = new Broker(child, folder, on)
    await broker.read(topic)
    return broker
  }

  /** Whoever comes later sees what is retained first. */
  async read(topic: string): Promise<void> {
    await this.reader?.endAsync(true)
    const reader = mqtt.connect(this.url, {
      protocolVersion: 5,
      username: user,
      password,
      reconnectPeriod: 50,
    })
    this.reader = reader
    reader.on('error', () => undefined)
    reader.on('message', (on, payload, packet) => {
      const body = JSON.parse(payload.toString()) as Record<string, unknown>
      this.heard.push({ topic: on, retained: packet.retain, body })
    })
    await new Promise<void>((resolve) => reader.once('connect', () => resolve()))
    await reader.subscribeAsync(topic, { qos: 1 })
  }

  /** Waits until something like this was heard. */
  async hears(topic: string, like: Readonly<Record<string, unknown>>): Promise<Record<string, unknown>> {
    for (const from = Date.now(); Date.now() - from < within_ms; ) {
      const hit = this.heard.find(
        (each) =>
          each.topic === topic && Object.entries(like).every(([key, value]) => each.body[key] === value),
      )
      if (hit !== undefined) return hit.body
      await new Promise((resolve) => setTimeout(resolve, 20))
    }
    throw new Error(
      `Nothing like ${JSON.stringify(like)} in ${topic}; heard: ${JSON.stringify(this.heard).slice(0, 2000)}`,
    )
  }

  async stop(): Promise<void> {
    await this.reader?.endAsync(true)
    this.child.kill('SIGTERM')
    await new Promise((resolve) => {
      if (this.child.exitCode !== null || this.child.signalCode !== null) resolve(null)
      else this.child.on('exit', resolve)
    })
    rmSync(this.folder, { recursive: true, force: true })
  }
}

const within_ms = 90_000

export function freePort(): Promise<number> {
  return new Promise((resolve) => {
    const server = createServer().listen(0, '127.0.0.1', () => {
      const address = server.address()
      const port = typeof address === 'object' && address !== null ? address.port : 0
      server.close(() => {
        resolve(port)
      })
    })
  })
}
