import * as z from 'zod'
import { choice, group, list, name, quantity, table, text } from '../quantities/index.js'
import type { AlertTarget } from './alert-types.js'

/* Where alerts go, as a person writes it. */

const variable = (about: string) => text(`variable of the environment that holds ${about}`, 100).optional()
const url = text('address', 500).optional()
const common = {
  least: choice(
    ['news', 'attention', 'alarm'],
    'least severity that is sent there: news (everything), attention, or alarm alone',
  ).default('news'),
  within: quantity('s', 'longest time that one attempt may take', { least: 1, most: 60 }).optional(),
}

export const alertShape = z
  .discriminatedUnion(
    'kind',
    [
      group(
        {
          kind: z.literal('webhook'),
          url,
          url_from: variable('the address, where the address itself is a secret'),
          headers_from: table(
            text('variable of the environment', 100),
            'headers, each with the variable of the environment that holds it',
          ).default({}),
          still_there: quantity('s', 'how often it is told that the run goes on', {
            least: 60,
            most: 86400,
          }).optional(),
          ...common,
        },
        'a webhook',
      ),
      group(
        {
          kind: z.literal('mqtt'),
          url,
          url_from: variable('the address'),
          topic: text('topic, such as bench/alerts', 200),
          user: name('user name at the broker').optional(),
          password_from: variable('the password at the broker'),
          silent_after: quantity('s', 'after this silence the broker tells of it', {
            least: 5,
            most: 600,
          }).optional(),
          ...common,
        },
        'a broker',
      ),
      group(
        {
          kind: z.literal('command'),
          run: list(text('one word of the command', 500), 'the program and its words', 40),
          ...common,
        },
        'a local command',
      ),
    ],
    {
      error: () =>
        'where an alert goes is missing its kind, or the kind is unknown\nwrite { kind: webhook, url: https://… }, { kind: mqtt, url: mqtt://broker, topic: … } or { kind: command, run: [program, "{text}"] }',
    },
  )
  .describe('where alerts of a run go')

/** Seconds for one attempt, and until a broker tells of silence (our choice). */
const within_s = 10
const silent_after_s = 20

export function toAlert(written: z.output<typeof alertShape>): AlertTarget {
  const shared = { least: written.least, within_s: written.within ?? within_s }
  if (written.kind === 'command') return { kind: 'command', run: written.run, ...shared }
  const address = { url: written.url ?? null, url_from: written.url_from ?? null }
  if (written.kind === 'webhook')
    return {
      kind: 'webhook',
      ...address,
      headers_from: written.headers_from,
      still_there_s: written.still_there ?? null,
      ...shared,
    }
  return {
    kind: 'mqtt',
    ...address,
    topic: written.topic,
    user: written.user ?? null,
    password_from: written.password_from ?? null,
    silent_after_s: written.silent_after ?? silent_after_s,
    ...shared,
  }
}
