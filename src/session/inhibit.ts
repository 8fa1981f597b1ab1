import { spawn } from 'node:child_process'

/** Keeps the computer from going to sleep while a run is under way, where the system has a way; ends with the returned function. */
export function inhibitSleep(): () => void {
  try {
    // `cat` ends with its input, so that nothing stays behind when we are killed.
    const child = spawn(
      'systemd-inhibit',
      ['--what=sleep:idle', '--who=slowglow', '--why=a run is under way', 'cat'],
      { stdio: ['pipe', 'ignore', 'ignore'], detached: true },
    )
    child.on('error', () => undefined)
    child.stdin.on('error', () => undefined)
    child.unref()
    return () => {
      child.stdin.end()
    }
  } catch {
    return () => undefined
  }
}
