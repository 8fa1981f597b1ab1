import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs'
import { dirname, join, relative, resolve } from 'node:path'
import ts from 'typescript'

const root = resolve(import.meta.dirname, '../..')

/**
 * A program of `src` and what it imports, compiled as it is now into a folder of its own, for tests that need a real
 * process. Gives the program's path and a way to clear up.
 */
export function compiled(program: string): { readonly path: string; readonly remove: () => void } {
  const cache = join(root, 'node_modules/.cache')
  mkdirSync(cache, { recursive: true })
  const out = mkdtempSync(join(cache, 'slowglow-test-'))
  const done = new Set<string>()
  const compile = (file: string): void => {
    if (done.has(file)) return
    done.add(file)
    const { outputText } = ts.transpileModule(readFileSync(file, 'utf8'), {
      fileName: file,
      compilerOptions: {
        target: ts.ScriptTarget.ES2023,
        module: ts.ModuleKind.ESNext,
        verbatimModuleSyntax: true,
      },
    })
    const to = join(out, relative(join(root, 'src'), file)).replace(/\.ts$/, '.js')
    mkdirSync(dirname(to), { recursive: true })
    writeFileSync(to, outputText)
    for (const [, name] of outputText.matchAll(/from '(\.[^']+)\.js'/g))
      compile(resolve(dirname(file), `${name ?? ''}.ts`))
  }
  compile(join(root, 'src', program))
  writeFileSync(join(out, 'package.json'), '{"type":"module"}')
  return {
    path: join(out, program).replace(/\.ts$/, '.js'),
    remove: () => {
      rmSync(out, { recursive: true, force: true })
    },
  }
}
