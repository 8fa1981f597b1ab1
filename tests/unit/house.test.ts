import { spawnSync } from 'node:child_process'
import { readFileSync, readdirSync } from 'node:fs'
import { join } from 'node:path'
import { describe, expect, it } from 'vitest'

const root = join(import.meta.dirname, '../..')

function cruise(folder: string): { code: number | null; text: string } {
  const result = spawnSync(
    process.execPath,
    [
      join(root, 'node_modules/dependency-cruiser/bin/dependency-cruise.mjs'),
      '--config',
      join(root, '.dependency-cruiser.cjs'),
      'src',
    ],
    { cwd: join(root, folder), encoding: 'utf8' },
  )
  return { code: result.status, text: result.stdout + result.stderr }
}

describe('the rules of the house', () => {
  it('a pure room that imports Node, or reaches past an index into the shell, is refused', () => {
    const { code, text } = cruise('tests/fixtures/violation')
    expect(code).not.toBe(0)
    expect(text).toContain('pure-rooms-import-no-node')
    expect(text).toContain('sequencer-imports-only-its-neighbours')
    expect(text).toContain('a-room-is-entered-through-its-index')
  })

  it('every room under src has an import rule', () => {
    const rules = readFileSync(join(root, '.dependency-cruiser.cjs'), 'utf8')
    const rooms = readdirSync(join(root, 'src'), { withFileTypes: true }).filter(
      (entry) => entry.isDirectory() && entry.name !== 'cli',
    )
    for (const room of rooms) expect(rules, room.name).toMatch(new RegExp(`^  ${room.name}: \\[`, 'm'))
  })
})
