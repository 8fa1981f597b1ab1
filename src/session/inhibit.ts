import { spawn } from 'node:child_process'

/** A hold on the computer's sleep. */
export interface Awake {
  /** Why it is not held against all of `whole`; null = it is. Settles soon, whatever the system does. */
  readonly lacking: Promise<string | null>
  /** Why a hold that was there is not there any more; settles only then. */
  readonly lost: Promise<string>
  /** The same, asked at this moment; null = no hold was lost. */
  gone(): string | null
  end(): void
}

/**
 * A closed lid sleeps past a hold on sleep alone unless the system's own setting says otherwise, and a restart after updates
 * asks nobody: both are held too.
 */
const whole = 'sleep:idle:shutdown:handle-lid-switch'
/** What a user may hold where the rest is denied; it does for somebody who stays. */
const least = 'sleep:idle'
/** Time for the system to answer, ms: a run does not wait for it, unattended work does. */
const answer_within_ms = 5000

/** Keeps the computer from going to sleep while a run is under way, where the system has a way. */
export function inhibitSleep(): Awake {
  let lose: (why: string) => void = () => undefined
  const lost = new Promise<string>((resolve) => {
    lose = resolve
  })
  let over = false
  let gone: string | null = null
  const holds: Hold[] = []
  const hold = (what: string): Hold => {
    const made = holdOn(what, (why) => {
      if (over) return
      gone ??= why
      lose(why)
    })
    holds.push(made)
    return made
  }
  const lacking = hold(whole).lacking.then((why) => {
    if (why !== null && !over) void hold(least)
    return why
  })
  return {
    lacking,
    lost,
    gone: () => gone,
    end: () => {
      over = true
      for (const each of holds) each.end()
    },
  }
}

interface Hold {
  readonly lacking: Promise<string | null>
  end(): void
}

function holdOn(what: string, lost: (why: string) => void): Hold {
  let settle: (why: string | null) => void = () => undefined
  let held = false
  const lacking = new Promise<string | null>((resolve) => {
    settle = resolve
  })
  try {
    // What is started under the hold says so first; it ends with its input, so that nothing stays behind when we are killed.
    const child = spawn(
      'systemd-inhibit',
      [`--what=${what}`, '--mode=block', '--who=slowglow', '--why=a run is under way', 'sh', '-c', waits],
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
      held = true
      settle(null)
    })
    child.on('error', (error) => {
      settle(`systemd-inhibit cannot be run (${error.message})`)
    })
    child.on('exit', (code) => {
      clearTimeout(given)
      const why = `systemd-inhibit ended with ${code ?? 'no code'}${said.trim() === '' ? '' : `: ${said.trim()}`}`
      settle(why)
      if (held) lost(why)
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
const waits = 'echo held; exec cat >/dev/null'
