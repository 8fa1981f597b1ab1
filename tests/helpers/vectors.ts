import { readdirSync, readFileSync } from 'node:fs'
import * as z from 'zod'

const step = z.union([
  z.strictObject({ at_ms: z.number(), opened: z.literal(true) }),
  z.strictObject({ at_ms: z.number(), computer: z.string() }),
  z.strictObject({
    at_ms: z.number(),
    supply: z.string(),
    allowed: z.array(z.string()).exactOptional(),
    within_ms: z.number().exactOptional(),
  }),
  z.strictObject({ at_ms: z.number(), lost: z.string() }),
  z.strictObject({
    at_ms: z.number(),
    request: z.looseObject({ id: z.number(), channel: z.string(), do: z.string() }),
  }),
  z.strictObject({ at_ms: z.number(), urgent_off: z.array(z.string()) }),
  z.strictObject({
    at_ms: z.number(),
    terminals: z.record(
      z.string(),
      z.strictObject({ V: z.number(), A: z.number(), limiting: z.boolean().exactOptional() }),
    ),
  }),
  z.strictObject({ at_ms: z.number(), event: z.looseObject({ kind: z.string() }) }),
])
export const vectorShape = z.strictObject({
  title: z.string(),
  shows: z.string(),
  sides: z.array(z.enum(['computer', 'supply'])),
  options: z.array(z.enum(['dead-man', 'constant current'])).exactOptional(),
  steps: z.array(step),
})
export type Vector = z.infer<typeof vectorShape>

const folder = new URL('../../firmware-protocol/vectors/', import.meta.url)

export function vectors(): readonly { readonly file: string; readonly vector: Vector }[] {
  return readdirSync(folder)
    .filter((file) => file.endsWith('.json'))
    .sort()
    .map((file) => ({
      file,
      vector: vectorShape.parse(JSON.parse(readFileSync(new URL(file, folder), 'utf8'))),
    }))
}
