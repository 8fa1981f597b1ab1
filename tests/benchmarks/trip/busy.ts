/** A process that never rests, as another program on the same computer may be. */
let sum = 0
const work = (): void => {
  for (let i = 0; i < 5e6; i++) sum = sum * 0.999999 + i
  setImmediate(work)
}
work()
process.on('disconnect', () => process.exit(0))
