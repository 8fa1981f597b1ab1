#!/usr/bin/env node
import { Command, CommanderError } from 'commander'
import { commands } from './commands/index.js'
import { exits } from './exits.js'
import { printJson, processIo } from './io.js'
import { errorJson } from './refuse.js'
import { programVersion } from './version.js'

// Output piped into a program that stops reading (head, a pager), or a terminal that was closed, is no fault of anyone's.
for (const stream of [process.stdout, process.stderr])
  stream.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code !== 'EPIPE' && error.code !== 'EIO') throw error
  })

const io = processIo()
const json = process.argv.includes('--json')
const program = new Command('slowglow')
  .description(
    'Bring valve-era radio equipment back to life, slowly, under limits computed from its own tubes and circuit.',
  )
  .version(programVersion)
  .showHelpAfterError()
  .exitOverride()
  .configureOutput({ writeOut: io.out, writeErr: io.err })

// The one that is asked for, where its name comes first; else all of them, since help tells every one.
const asked = process.argv[2] ?? ''
for (const [name, load] of Object.entries(commands))
  if (name === asked || !Object.hasOwn(commands, asked)) (await load())(program, io)

try {
  await program.parseAsync(process.argv)
} catch (error) {
  if (error instanceof CommanderError) {
    // Help and the version are answers; everything else is a command line that could not be read.
    const exit = error.exitCode === 0 ? exits.done : exits.usage
    process.exitCode = exit
    if (json && exit !== exits.done)
      printJson(
        io,
        errorJson({
          exit,
          what: error.message.replace(/^error: /, ''),
          remedy: 'slowglow COMMAND --help says how it is written.',
        }),
      )
  } else {
    const what = error instanceof Error ? (error.stack ?? error.message) : String(error)
    io.err(`slowglow: our own fault, not yours: ${what}`)
    process.exitCode = exits.ourFault
    if (json) printJson(io, errorJson({ exit: exits.ourFault, what }))
  }
}
