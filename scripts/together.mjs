// Runs scripts of package.json beside each other, one a core; each tells what it has to say when it is done.
import { spawn } from 'node:child_process'

function run(script) {
  return new Promise((done) => {
    const child = spawn('npm', ['run', '--silent', script], { stdio: ['ignore', 'pipe', 'pipe'] })
    let said = ''
    for (const stream of [child.stdout, child.stderr]) stream.on('data', (text) => (said += text))
    child.on('close', (code) => {
      if (said.trim() !== '') console.log(said.trimEnd())
      if (code !== 0) console.log(`npm run ${script}: not passed`)
      done(code === 0)
    })
  })
}

const passed = await Promise.all(process.argv.slice(2).map(run))
process.exitCode = passed.includes(false) ? 1 : 0
