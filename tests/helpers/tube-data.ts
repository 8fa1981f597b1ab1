import { readdirSync, readFileSync } from 'node:fs'
import { readData } from '../../src/tubes/build.js'

const folder = new URL('../../src/tubes/data/', import.meta.url)

/** Every file of src/tubes/data as it lies on disk. */
export function rawTubeFiles(): { name: string; raw: unknown }[] {
  return readdirSync(folder)
    .filter((name) => name.endsWith('.json'))
    .sort()
    .map((name) => {
      const raw: unknown = JSON.parse(readFileSync(new URL(encodeURIComponent(name), folder), 'utf8'))
      return { name, raw }
    })
}

/** The same, read; throws where a file is not sound. */
export function tubeData() {
  const { data, problems } = readData(rawTubeFiles())
  if (problems.length > 0) throw new Error(problems.join('\n'))
  return data
}
