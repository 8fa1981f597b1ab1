import { spawn } from 'node:child_process'

/** A hold on the computer's sleep. */
export interface Awake {
  /** Why there is none; null = it is held. Settles soon, whatever the system does. */
  readonly lacking: Promise<string | null>
  end(): void
}

/** Time for the system to answer, ms: a run does not wait for it, unattended work does. */
const answer_within_ms = 5000

/** Keeps the computer from going to sleep while a run is under way, where the system has a way. */
export function inhibitSleep(): Awake {
  let settle: (why: string | null) => void = () => undefined
  const lacking = new Promise<string | null>((resolve) => {
    settle = resolve
  })
  try {
    // What is started under the hold says so first; it ends with its input, so that nothing stays behind when we are killed.
    const child = spawn(
      'systemd-inhibit',
      ['--what=sleep:idle', '--mode=block', '--who=slowglow', '--why=a run is under way', 'sh', '-c', held],
      { stdio: ['pipe', 'pipe', 'pipe'], detached: true },
    )
    let said = ''
    const given = setTimeout(() => {
      settle('systemd-inhibit does not answer')
    }, answer_within_ms)
    child.stderr.setEncoding('utf8')
    child.stderr.on('data', (text: string) => {
      said = (said + text).slice(0, 300)
    })
    child.stdout.once('data', () => {
      settle(null)
    })
    child.on('error', (error) => {
      settle(`systemd-inhibit cannot be run (${error.message})`)
    })
    child.on('exit', (code) => {
      clearTimeout(given)
      settle(`systemd-inhibit ended with ${code ?? 'no code'}${said.trim() === '' ? '' : `: ${said.trim()}`}`)
    })
    child.stdin.on('error', () => undefined)
    child.unref()
    given.unref()
    return {
      lacking,
      end: () => {
        child.stdin.end()
      },
    }
  } catch (error) {
    settle(`systemd-inhibit cannot be run (${error instanceof Error ? error.message : String(error)})`)
    return { lacking, end: () => undefined }
  }
}
const held = 'echo held; exec cat >/dev/null'
