// Bundles the page. What the first screen at the bench needs is small and is measured here; the rest comes when it is wanted.
import { gzipSync } from 'node:zlib'
import { fileURLToPath } from 'node:url'
import { build } from 'vite'

/** Compressed bytes that must arrive before Energise can be used. */
const most_bytes = 100_000

export async function buildConsole(folder) {
  const root = fileURLToPath(new URL('../src/console', import.meta.url))
  const made = await build({
    root,
    // Relative, so that it is found under any path.
    base: './',
    configFile: false,
    logLevel: 'warn',
    clearScreen: false,
    publicDir: false,
    // The policy of the service allows no inline script, style or data address.
    build: {
      outDir: fileURLToPath(new URL(`../${folder}`, import.meta.url)),
      emptyOutDir: true,
      assetsInlineLimit: 0,
      modulePreload: { polyfill: false },
      target: 'es2022',
      reportCompressedSize: false,
      chunkSizeWarningLimit: 2000,
    },
    worker: { format: 'es' },
    oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
  })
  const output = (Array.isArray(made) ? made : [made]).flatMap((each) => each.output)
  const first = firstNeeded(output)
  const bytes = first.reduce((sum, each) => sum + gzipSync(each.code ?? each.source).length, 0)
  process.stderr.write(
    `page: ${first.length} files, ${(bytes / 1000).toFixed(1)} kB compressed before Energise can be used\n`,
  )
  if (bytes > most_bytes)
    throw new Error(
      `The page needs ${bytes} bytes before Energise can be used; ${most_bytes} are allowed. Load what is not needed there later.`,
    )
}

/** The entry, what it and the place Energise import at once, and their styles. */
function firstNeeded(output) {
  const chunks = new Map(
    output.filter(({ type }) => type === 'chunk').map((chunk) => [chunk.fileName, chunk]),
  )
  const wanted = new Set()
  const want = (name) => {
    if (wanted.has(name)) return
    wanted.add(name)
    for (const next of chunks.get(name)?.imports ?? []) want(next)
    for (const css of chunks.get(name)?.viteMetadata?.importedCss ?? []) wanted.add(css)
  }
  for (const chunk of chunks.values())
    if (chunk.isEntry || /console\/energise\/place\.tsx$/.test(chunk.facadeModuleId ?? ''))
      want(chunk.fileName)
  return output.filter(({ fileName }) => wanted.has(fileName))
}
