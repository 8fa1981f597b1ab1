import type { Path, Report } from '../quantities/index.js'
import type { AlertTarget } from './alert-types.js'

/* Where alerts go, judged: an address that can be used, no secret in the file, words that need no shell. */

const variable = /^[A-Za-z_][A-Za-z0-9_]*$/
const header = /^[A-Za-z0-9-]{1,60}$/
const forms = {
  webhook: { pattern: /^https?:\/\/[^\s/?#]+/i, example: 'https://alerts.example/bench' },
  mqtt: { pattern: /^(?:mqtts?|wss?):\/\/[^\s/?#]+/i, example: 'mqtts://broker.example:8883' },
} as const
/** What a query calls its secrets. */
const secretQuery = /[?&](?:[a-z_-]*(?:token|key|secret|password|auth|sig))[a-z_-]*=/i
const ownMachine = /^[a-z]+:\/\/(?:localhost|127\.[0-9.]+|\[::1\])(?:[:/?#]|$)/i

export function checkAlerts(alerts: readonly AlertTarget[], report: Report): void {
  alerts.forEach((alert, i) => {
    const at: Path = ['alerts', i]
    if (alert.kind === 'command') checkCommand(alert.run, at, report)
    else checkAddress(alert, at, report)
    if (alert.kind === 'webhook') checkHeaders(alert, at, report)
    if (alert.kind === 'mqtt') checkTopic(alert, at, report)
  })
}

function checkAddress(alert: Extract<AlertTarget, { url: string | null }>, at: Path, report: Report): void {
  const { kind, url, url_from } = alert
  if ((url === null) === (url_from === null)) {
    report.error(
      at,
      url === null ? `this ${kind} has no address` : `this ${kind} has two addresses`,
      `write url: ${forms[kind].example}, or url_from: with the variable of the environment that holds it`,
    )
    return
  }
  if (url_from !== null) checkVariable(url_from, [...at, 'url_from'], report)
  if (url === null) return
  const host = /^[^/]*\/\/([^/?#]*)/.exec(url)?.[1] ?? ''
  if (!forms[kind].pattern.test(url))
    report.error([...at, 'url'], `'${url}' is no address of a ${kind}`, `write it as ${forms[kind].example}`)
  else if (host.includes('@'))
    report.error(
      [...at, 'url'],
      'a user or a password stands in this address',
      kind === 'mqtt'
        ? 'write user: and password_from: with the variable of the environment that holds the password'
        : 'write headers_from: { Authorization: NAME } with the variable of the environment that holds it',
    )
  else if (secretQuery.test(url))
    report.error(
      [...at, 'url'],
      'this address carries what looks like a secret, and the file is kept with every run',
      'write url_from: with the name of the variable of the environment that holds the whole address',
    )
}

function checkVariable(name: string, at: Path, report: Report): void {
  if (!variable.test(name))
    report.error(
      at,
      `'${name}' is no name of a variable of the environment: a secret must not stand in the file itself`,
      'write a name of letters, digits and _, such as ALERT_TOKEN, and set it where slowglow is started',
    )
}

function checkHeaders(
  { headers_from, url }: Extract<AlertTarget, { kind: 'webhook' }>,
  at: Path,
  report: Report,
): void {
  const entries = Object.entries(headers_from)
  for (const [name, from] of entries) {
    if (!header.test(name))
      report.error(
        [...at, 'headers_from', name],
        `'${name}' is no name of a header`,
        'write it as in Authorization: letters, digits and -',
        'key',
      )
    checkVariable(from, [...at, 'headers_from', name], report)
  }
  if (entries.length > 0 && url !== null && /^http:/i.test(url) && !ownMachine.test(url))
    report.warn(
      [...at, 'url'],
      'what the environment holds for these headers goes over the network in the clear',
      'write https:// where the other end speaks it',
    )
}

function checkTopic(
  { topic, user, password_from, url }: Extract<AlertTarget, { kind: 'mqtt' }>,
  at: Path,
  report: Report,
): void {
  if (/[+#\u0000]/.test(topic) || topic.startsWith('$') || topic.startsWith('/') || topic.endsWith('/'))
    report.error(
      [...at, 'topic'],
      `'${topic}' is no topic that can be written to`,
      'leave out + # and $ and a / at either end: such as bench/alerts',
    )
  if (password_from === null) return
  checkVariable(password_from, [...at, 'password_from'], report)
  if (user === null)
    report.error([...at, 'password_from'], 'there is a password and no user', 'write user: as well')
  if (url !== null && /^(?:mqtt|ws):/i.test(url) && !ownMachine.test(url))
    report.warn(
      [...at, 'url'],
      'the password goes over the network in the clear',
      'write mqtts:// where the broker speaks it',
    )
}

function checkCommand(run: readonly string[], at: Path, report: Report): void {
  const [program = ''] = run
  if (run.length === 0)
    report.error([...at, 'run'], 'there is nothing to run', 'write run: [program, "{text}"]')
  else if (run.length === 1 && /\s/.test(program))
    report.error(
      [...at, 'run', 0],
      `'${program}' would be taken as the name of one program: no shell reads it`,
      `write each word by itself: run: [${program.split(/\s+/).join(', ')}]`,
    )
}
