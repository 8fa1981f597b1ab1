import { z } from 'zod'
import { placeShape } from '../controller/index.js'

/** What is said to a virtual bench running as a program of its own, as JSON lines on its standard input or as messages. */
export const toBenchShape = z.discriminatedUnion('kind', [
  /** Set the controls to a mode, as a person does when asked. */
  z.object({ kind: z.literal('mode'), mode: z.string() }),
  /** The plan's step now running: only faults that wait for a step use it. */
  z.object({ kind: z.literal('step'), step: z.number() }),
  /** A person's knob on a watched or hand rail. */
  z.object({ kind: z.literal('turn'), rail: z.string(), volts: z.number() }),
  /** The latches of an output cleared at its front panel. */
  z.object({ kind: z.literal('clear'), output: z.string() }),
  /** A lifted electrolytic taken off its feed resistor. */
  z.object({ kind: z.literal('lift'), part: z.string() }),
  /** The set joined to its own transformer, its rectifier put back, or an outside timer started. */
  z.object({ kind: z.literal('fit'), what: z.string() }),
  /** What a hand meter of this resistance shows at a node against another. */
  z.object({
    kind: z.literal('probe'),
    id: z.number(),
    node: z.string(),
    against: z.string(),
    ohm: z.number(),
  }),
  /** What a hand ohmmeter shows at the lead ends of a rail. */
  z.object({ kind: z.literal('ohms'), id: z.number(), rail: z.string() }),
  z.object({ kind: z.literal('truth'), id: z.number() }),
  z.object({ kind: z.literal('quit') }),
])
export type ToBench = z.infer<typeof toBenchShape>

export const fromBenchShape = z.discriminatedUnion('kind', [
  z.object({ kind: z.literal('ports'), places: z.record(z.string(), placeShape) }),
  z.object({ kind: z.literal('probed'), id: z.number(), value: z.number() }),
  z.object({
    kind: z.literal('truth'),
    id: z.number(),
    volts: z.record(z.string(), z.number()),
    rails: z.record(z.string(), z.object({ volts: z.number(), amps: z.number() })),
    outputs: z.record(z.string(), z.boolean()),
    faults: z.array(z.string()),
  }),
  z.object({ kind: z.literal('trouble'), text: z.string() }),
])
export type FromBench = z.infer<typeof fromBenchShape>
