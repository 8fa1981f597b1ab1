#!/usr/bin/env node
import { Command, CommanderError } from 'commander'
import { commands } from './commands/index.js'
import { exits } from './exits.js'
import { processIo } from './io.js'

// Output piped into a program that stops reading (head, a pager) is no fault of anyone's.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error
})

const io = processIo()
const program = new Command('slowglow')
  .description(
    'Bring valve-era radio equipment back to life, slowly, under limits computed from its own tubes and circuit.',
  )
  .version('0.1.0')
  .showHelpAfterError()
  .exitOverride()
  .configureOutput({ writeOut: io.out, writeErr: io.err })

for (const register of commands) register(program, io)

try {
  await program.parseAsync(process.argv)
} catch (error) {
  if (error instanceof CommanderError) {
    process.exitCode = error.exitCode === 0 ? exits.done : exits.usage
  } else {
    io.err(
      `slowglow: our own fault, not yours: ${error instanceof Error ? (error.stack ?? error.message) : String(error)}`,
    )
    process.exitCode = exits.ourFault
  }
}
