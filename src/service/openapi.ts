import type { FastifySchema } from 'fastify'
import * as z from 'zod'
import {
  errorShape,
  everywhere,
  eventShapes,
  may,
  type RouteName,
  roles,
  type RouteShape,
} from './api/index.js'

const intro = `The service behind the page of slowglow, for people's own scripts. SI units throughout; times in s of the run unless a
name ends in _ms. Whatever is not done is told as an error with a code for programs and sentences for people.

Who may do what: ${roles.map((role) => `**${role}**: ${may[role].join(', ')}`).join('; ')}. Whoever sees can stop. What energises or
answers for a person is done at the page: it wants the headers of a browser, and the word of the cautions is given to such a page only.

\`GET /api/live/events\` is a stream of server-sent events; their names and data are the properties of the schema \`LiveEvents\`.`

export const openApi = (version: string) => ({
  openapi: '3.1.0',
  info: { title: 'slowglow', version, description: intro },
  tags: [
    { name: 'access', description: 'Who one is' },
    { name: 'files', description: 'Equipment, bench and profile files' },
    { name: 'plans', description: 'What would be done, and what is connected' },
    { name: 'sets', description: 'Cold checks, the book, what a plan would notice' },
    { name: 'runs', description: 'What was done' },
    { name: 'live', description: 'The run under way' },
  ],
  components: {
    schemas: {
      LiveEvents: z.toJSONSchema(z.object(eventShapes), { unrepresentable: 'any' }) as Record<
        string,
        unknown
      >,
    },
  },
})

/** What the server checks on the way in and tells in its own description. */
export function schemaFor(name: RouteName, shape: RouteShape): FastifySchema {
  const { params, query, body, reply, media, errors = {} } = shape
  const codes = new Map<string, readonly string[]>()
  for (const part of [everywhere, errors])
    for (const [status, each] of Object.entries(part))
      codes.set(status, [...(codes.get(status) ?? []), ...each])
  const answers: Record<string, unknown> = {
    200:
      media === undefined ? reply : { description: shape.summary, content: { [media]: { schema: reply } } },
  }
  for (const [status, each] of codes) answers[status] = errorShape.describe(each.join(', '))
  return {
    operationId: name,
    summary: shape.summary,
    description: `Needs the act "${shape.act}".`,
    tags: [shape.tag],
    ...(params !== undefined && { params }),
    ...(query !== undefined && { querystring: query }),
    ...(body !== undefined && { body }),
    response: answers,
  }
}
