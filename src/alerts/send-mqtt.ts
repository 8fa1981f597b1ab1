import { randomUUID } from 'node:crypto'
import mqtt from 'mqtt'
import type { Resolved } from './places.js'
import type { Message, Sender } from './senders.js'

/** Between attempts to reach the broker, ms (our choice). */
const reconnect_ms = 3000
/** Goodbyes are bounded, ms. */
const close_within_ms = 2000
/** A broker tells of silence after one and a half times the interval that was agreed with it (MQTT 5, 3.1.2.10). */
const broker_patience = 1.5

/**
 * MQTT 5. Every alert goes to `TOPIC/alert`; the last one stays at `TOPIC/state`, retained. The same topic is the last will's: where
 * this process or its computer is gone, the broker itself says so there.
 */
export function mqttSender(target: Extract<Resolved, { kind: 'mqtt' }>, silent: Message): Sender {
  const state = `${target.topic}/state`
  const client = mqtt.connect(target.url, {
    protocolVersion: 5,
    clientId: `slowglow-${randomUUID()}`,
    clean: true,
    keepalive: Math.max(2, Math.floor(target.silent_after_s / broker_patience)),
    reconnectPeriod: reconnect_ms,
    connectTimeout: target.within_s * 1000,
    queueQoSZero: false,
    ...(target.user !== null && { username: target.user }),
    ...(target.password !== null && { password: target.password }),
    will: {
      topic: state,
      payload: Buffer.from(JSON.stringify(silent)),
      qos: 1,
      retain: true,
      properties: { contentType: 'application/json' },
    },
  })
  let trouble = 'the broker has not answered'
  let last: Message | null = null
  let lost = false
  client.on('error', (error) => {
    trouble = `the broker: ${error.message === '' ? 'no connection' : error.message}`
  })
  client.on('close', () => {
    lost = true
  })
  client.on('connect', () => {
    trouble = 'the connection to the broker was lost'
    // While it was lost the last will has said that we are silent.
    if (lost && last !== null) void put(state, last, true).catch(() => undefined)
    lost = false
  })
  const put = (topic: string, message: Message, retain: boolean): Promise<unknown> =>
    client.publishAsync(topic, JSON.stringify(message), {
      qos: 1,
      retain,
      properties: { contentType: 'application/json' },
    })
  return {
    async send(message, signal) {
      if (!client.connected) await connected(client, signal, () => trouble)
      if (message.kind === 'still there') return
      last = message
      await put(`${target.topic}/alert`, message, false)
      await put(state, message, true)
    },
    async close() {
      const ended = client.endAsync().catch(() => undefined)
      const late = new Promise((resolve) => {
        setTimeout(resolve, close_within_ms).unref()
      })
      await Promise.race([ended, late])
      client.end(true)
    },
  }
}

/** Waits for the connection as long as the attempt may last. */
function connected(client: mqtt.MqttClient, signal: AbortSignal, trouble: () => string): Promise<void> {
  return new Promise((resolve, reject) => {
    const settle = (done: () => void): void => {
      client.off('connect', onConnect)
      signal.removeEventListener('abort', onAbort)
      done()
    }
    const onConnect = (): void => {
      settle(resolve)
    }
    const onAbort = (): void => {
      settle(() => {
        reject(new Error(trouble()))
      })
    }
    client.on('connect', onConnect)
    signal.addEventListener('abort', onAbort)
  })
}
