/**
 * A disk that does not answer, for the recorder process alone: while the file `gate` exists, every commit of its run file, and every
 * sync of what was committed without one, stands inside the database's own call, as in an fsync that does not return. `held` is written when the first one stands.
 * To be given as NODE_OPTIONS to whoever starts the recorder.
 */
export function slowDisk(gate: string, held: string): string {
  const code = `
    import { existsSync, writeFileSync } from 'node:fs'
    import { createRequire } from 'node:module'
    if (process.argv[1]?.includes('recorder.process')) {
      const { prototype } = createRequire(process.argv[1])('better-sqlite3')
      const { exec, pragma } = prototype
      const cell = new Int32Array(new SharedArrayBuffer(4))
      const stand = () => {
        if (!existsSync(${JSON.stringify(gate)})) return
        writeFileSync(${JSON.stringify(held)}, '')
        while (existsSync(${JSON.stringify(gate)})) Atomics.wait(cell, 0, 0, 5)
      }
      prototype.exec = function (sql) {
        if (sql === 'COMMIT') stand()
        return exec.call(this, sql)
      }
      prototype.pragma = function (sql, options) {
        if (/^(user_version = |wal_checkpoint)/.test(sql)) stand()
        return pragma.call(this, sql, options)
      }
    }`
  return `--import=data:text/javascript,${encodeURIComponent(code)}`
}
