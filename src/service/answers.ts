import { createReadStream, rmSync } from 'node:fs'
import { dirname } from 'node:path'
import type { FastifyReply } from 'fastify'
import { hasZodFastifySchemaValidationErrors } from 'fastify-type-provider-zod'
import { Refused } from './api/index.js'

/* How the service answers: documents, pages, files, and why not. */

/** A page of its own, with its styles in it and no script: nothing in it may ever run here. */
export const printed = (html: string, reply: FastifyReply): FastifyReply =>
  reply
    .type('text/html; charset=utf-8')
    .header(
      'content-security-policy',
      "sandbox; default-src 'none'; style-src 'unsafe-inline'; img-src data:",
    )
    .send(html)

export const attached = (name: string, reply: FastifyReply): FastifyReply =>
  reply
    .type('application/octet-stream')
    .header('content-disposition', `attachment; filename*=UTF-8''${encodeURIComponent(name)}`)

/** A file that was made for this answer, and its folder, are gone once it is sent. */
export function sentOn(file: string, reply: FastifyReply): FastifyReply {
  const stream = createReadStream(file)
  stream.on('close', () => {
    rmSync(dirname(file), { recursive: true, force: true })
  })
  return reply.header('cache-control', 'no-store').send(stream)
}

/** Text that is JSON already goes out as it is. */
export const asJson = (reply: FastifyReply, text: string): FastifyReply =>
  reply.type('application/json; charset=utf-8').header('cache-control', 'no-store').send(text)

/** `fault`: told in the terminal. */
export function answerError(
  error: unknown,
  reply: FastifyReply,
  fault: (text: string) => void,
): FastifyReply {
  const refused = refusedOf(error, fault)
  return asJson(reply.code(refused.status), JSON.stringify({ error: refused.error }))
}

function refusedOf(error: unknown, fault: (text: string) => void): Refused {
  if (error instanceof Refused) return error
  if (hasZodFastifySchemaValidationErrors(error)) {
    const said = error.validation.map(
      ({ instancePath, message }) =>
        `${instancePath.split('/').filter(Boolean).join('.') || (error.validationContext ?? 'request')}: ${message ?? ''}`,
    )
    return new Refused(400, 'bad request', `The request cannot be read: ${said.slice(0, 5).join('; ')}.`, {
      remedy: 'GET /api/openapi.json tells what is wanted.',
    })
  }
  const status = error instanceof Error && 'statusCode' in error ? error.statusCode : 500
  const text = error instanceof Error ? error.message : String(error)
  if (status === 413)
    return new Refused(413, 'too large', 'The request is larger than is taken here.', {
      remedy: 'A file of a set is some tens of kilobytes; a photograph may have 32 million bytes.',
    })
  if (typeof status === 'number' && status >= 400 && status < 500)
    return new Refused(400, 'bad request', `The request cannot be read: ${text}.`, {
      remedy: 'GET /api/openapi.json tells what is wanted.',
    })
  fault(error instanceof Error ? (error.stack ?? text) : text)
  return new Refused(500, 'our fault', 'The service failed at this, and says why in its terminal.', {
    remedy: 'A run under way is not touched by it. Tell us what the terminal says.',
  })
}
