/** How grave an alert is: what goes as planned, what wants a look, what wants somebody at once. */
export type Severity = 'news' | 'attention' | 'alarm'

/**
 * Where alerts of a run go. Secrets never stand in the file: `…_from` names a variable of the environment. `least` is the
 * least severity that is sent there; `within_s` is how long one attempt may take.
 */
export type AlertTarget = WebhookTarget | MqttTarget | CommandTarget

export interface WebhookTarget {
  readonly kind: 'webhook'
  /** One of the two is written. */
  readonly url: string | null
  readonly url_from: string | null
  /** Header → variable of the environment that holds it. */
  readonly headers_from: Readonly<Record<string, string>>
  /** Posted this often while a run goes on, so that whoever listens there notices silence; null = never. */
  readonly still_there_s: number | null
  readonly least: Severity
  readonly within_s: number
}
export interface MqttTarget {
  readonly kind: 'mqtt'
  readonly url: string | null
  readonly url_from: string | null
  /** `TOPIC/state` is retained and is the last will's; `TOPIC/alert` carries each alert. */
  readonly topic: string
  readonly user: string | null
  readonly password_from: string | null
  /** Unheard for this long, the broker itself tells of silence. */
  readonly silent_after_s: number
  readonly least: Severity
  readonly within_s: number
}
export interface CommandTarget {
  readonly kind: 'command'
  /** Program and its words; no shell reads them. `{text}`, `{kind}` and `{severity}` stand for the alert's. */
  readonly run: readonly string[]
  readonly least: Severity
  readonly within_s: number
}
