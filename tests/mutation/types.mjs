// Changes that the compiler refuses: `reading?.volts` without the `?`, a word that is none of those allowed. Nobody can make them and
// build the program, so no test has to notice them; they are left out of the score, whether a test noticed them or not.
import { resolve } from 'node:path'
import ts from 'typescript'

/** Changed copies of a file that are checked at once: they share what the compiler knows of everything else. */
const at_once = 200

/**
 * Those of the changes to one file of the program that the compiler refuses in that file.
 *
 * @param {string} file @param {{location: {start: {line: number, column: number}, end: {line: number, column: number}}, replacement?: string}[]} changes places counted from one
 */
export function refused(file, changes) {
  const found = new Set()
  for (let from = 0; from < changes.length; from += at_once)
    for (const change of refusedAtOnce(file, changes.slice(from, from + at_once))) found.add(change)
  return found
}

function refusedAtOnce(file, changes) {
  const path = resolve(file)
  const source = ts.sys.readFile(path)
  const starts = [0]
  for (const line of source.split('\n')) starts.push(starts.at(-1) + line.length + 1)
  const at = ({ line, column }) => starts[line - 1] + column - 1
  // Beside the file itself, so that it imports as that does; on no disk.
  const copies = new Map(
    changes.map((change, number) => {
      const { start, end } = change.location
      const text = source.slice(0, at(start)) + (change.replacement ?? '') + source.slice(at(end))
      return [path.replace(/\.ts$/, `.change-${number}.ts`), { change, text }]
    }),
  )
  const { config } = ts.readConfigFile('tsconfig.json', ts.sys.readFile)
  const { options } = ts.parseJsonConfigFileContent(config, ts.sys, process.cwd())
  const host = ts.createCompilerHost({ ...options, noEmit: true })
  const program = ts.createProgram([...copies.keys()], { ...options, noEmit: true }, {
    ...host,
    fileExists: (name) => copies.has(name) || host.fileExists(name),
    readFile: (name) => copies.get(name)?.text ?? host.readFile(name),
    getSourceFile: (name, language) =>
      copies.has(name) ? ts.createSourceFile(name, copies.get(name).text, language, true) : host.getSourceFile(name, language),
  })
  return [...copies].flatMap(([name, { change }]) => {
    const copy = program.getSourceFile(name)
    // What cannot be read was laid in wrongly here, not refused.
    if (program.getSyntacticDiagnostics(copy).length > 0) return []
    return program.getSemanticDiagnostics(copy).length > 0 ? [change] : []
  })
}
