import { existsSync, readdirSync, readFileSync } from 'node:fs'
import { describe, expect, it } from 'vitest'

/** The map of the trip path in DEVELOPERS.md names files and functions; a map that lies is worse than none. */
const sections = readFileSync('DEVELOPERS.md', 'utf8')
  .split('\n## ')
  .filter((section) => section.startsWith('The life of one '))

const sources = readdirSync('src', { recursive: true, encoding: 'utf8' }).filter((path) =>
  path.endsWith('.ts'),
)
const named = (text: string): string[] => [...text.matchAll(/`([^`]+)`/g)].map(([, name = '']) => name)
const isFile = (name: string): boolean => name.endsWith('.ts')
/** Evidence that is named must be there. */
describe('SAFETY.md', () => {
  it('names tests and tables that exist', () => {
    const files = named(readFileSync('SAFETY.md', 'utf8')).filter((name) => /^tests\/.*\.(ts|md)$/.test(name))
    expect(files.length).toBeGreaterThan(15)
    for (const file of files) expect(existsSync(file), file).toBe(true)
  })
})

/** A file named with its room, or by its own name alone. */
const filesOf = (name: string): string[] =>
  sources.filter((path) => path === name || path.endsWith(`/${name}`))

describe.each(sections.map((section) => [section.slice(0, section.indexOf('\n')), section] as const))(
  '%s',
  (_, section) => {
    it('names files that exist, each so that it can be no other', () => {
      const files = named(section).filter(isFile)
      expect(files.length).toBeGreaterThan(4)
      for (const file of files) expect(filesOf(file), file).toHaveLength(1)
    })

    it('names functions that are made in a file it names, and in the very file that stands in brackets behind them', () => {
      const files = named(section).filter(isFile).flatMap(filesOf)
      const functions = named(section).filter(
        (name) => /^[a-z][A-Za-z]+$/.test(name) && !existsSync(`src/${name}`),
      )
      expect(functions.length).toBeGreaterThan(4)
      for (const name of functions)
        expect(
          files.filter((path) => makes(path, name)),
          name,
        ).not.toEqual([])
      const placed = [...section.matchAll(/`([a-z][A-Za-z]+)`\s\(`([^`]+\.ts)`/g)]
      expect(placed.length).toBeGreaterThan(4)
      for (const [, name = '', file = ''] of placed)
        expect(
          filesOf(file).filter((path) => makes(path, name)),
          `${name} in ${file}`,
        ).toHaveLength(1)
    })
  },
)

/** Whether the name is made there, and not only called: a function, a method, a parameter, a kind of what is told. */
function makes(path: string, name: string): boolean {
  const made = [
    `^(export )?(async )?(function|const) ${name}\\b`,
    `^ +(private |static |async )*${name}\\([^()]*\\)(: [^{]+)? \\{$`,
    `^ +${name}: [A-Z]\\w*( = \\w+)?,$`,
    `readonly kind: '${name}'`,
  ]
  return new RegExp(made.join('|'), 'm').test(readFileSync(`src/${path}`, 'utf8'))
}
