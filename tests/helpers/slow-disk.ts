/**
 * A disk that does not answer, for the recorder process alone: while the file `gate` exists, every commit of its run file stands
 * inside the database's own COMMIT, as it stands in an fsync that does not return. `held` is written when the first one stands.
 * To be given as NODE_OPTIONS to whoever starts the recorder.
 */
export function slowDisk(gate: string, held: string): string {
  const code = `
    import { existsSync, writeFileSync } from 'node:fs'
    import { createRequire } from 'node:module'
    if (process.argv[1]?.includes('recorder.process')) {
      const { prototype } = createRequire(process.argv[1])('better-sqlite3')
      const { exec } = prototype
      const cell = new Int32Array(new SharedArrayBuffer(4))
      prototype.exec = function (sql) {
        if (sql === 'COMMIT' && existsSync(${JSON.stringify(gate)})) {
          writeFileSync(${JSON.stringify(held)}, '')
          while (existsSync(${JSON.stringify(gate)})) Atomics.wait(cell, 0, 0, 5)
        }
        return exec.call(this, sql)
      }
    }`
  return `--import=data:text/javascript,${encodeURIComponent(code)}`
}
