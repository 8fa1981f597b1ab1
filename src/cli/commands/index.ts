import type { Command } from 'commander'
import type { Io } from '../io.js'

/** A command registers itself; its action sets `process.exitCode` (exits.ts). */
export type Register = (program: Command, io: Io) => void

export const commands: readonly Register[] = []
