import type { Alert } from './due.js'
import type { Resolved } from './places.js'
import { commandSender } from './send-command.js'
import { mqttSender } from './send-mqtt.js'
import { webhookSender } from './send-webhook.js'

/** An alert as it leaves: with the time of day at which it was given. */
export type Message = Alert & { readonly at: string }

/** A way to one place. One message is under way at a time; `signal` aborts it. */
export interface Sender {
  /** Settles when the other end has taken it; rejects with the reason, `Refused` where it never will. */
  send(message: Message, signal: AbortSignal): Promise<void>
  close(): Promise<void>
}

export function senderOf(target: Resolved, silent: Message): Sender {
  switch (target.kind) {
    case 'webhook':
      return webhookSender(target)
    case 'command':
      return commandSender(target)
    case 'mqtt':
      return mqttSender(target, silent)
  }
}
