import { execFileSync } from 'node:child_process'

const git = (...args: readonly string[]): string => execFileSync('git', args, { encoding: 'utf8' }).trim()

/** The commit that last changed the program which is tried; `-changed` where it is not as committed. */
export const version = `${git('log', '-1', '--format=%h', '--', 'src')}${git('status', '--porcelain', '--', 'src') === '' ? '' : '-changed'}`
