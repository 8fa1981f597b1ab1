import { connect } from 'node:net'

/** Who watches, and one who reviews: `viewers PORT COUNT RUN SECONDS`. They take what comes and look at nothing. */
const [port = '', count = '', run = '', run_s = ''] = process.argv.slice(2)
for (let i = 0; i < Number(count); i++) {
  const socket = connect(Number(port), '127.0.0.1')
  socket.write('GET /events HTTP/1.1\r\nhost: bench\r\n\r\n')
  socket.resume()
  socket.on('error', () => undefined)
}

/** Window after window of the long run, each asked for when the one before has come. */
async function review(): Promise<void> {
  for (let i = 0; ; i++) {
    const wide_s = Number(run_s) / 2 ** (i % 8)
    const from_s = ((i * 0.37) % 1) * (Number(run_s) - wide_s)
    const asked = await fetch(
      `http://127.0.0.1:${port}/traces?run=${run}&from_s=${from_s}&to_s=${from_s + wide_s}`,
    )
    await asked.arrayBuffer()
    if (i === 0) process.send?.({ kind: 'watching' })
  }
}
process.on('disconnect', () => process.exit(0))
await review()
