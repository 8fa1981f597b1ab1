import { isAbsolute, join } from 'node:path'

type Env = Readonly<Record<string, string | undefined>>

/**
 * Where the owner's runs are kept by the convention of each system: %LOCALAPPDATA% on Windows, Application Support on macOS, else the
 * XDG base directories ($XDG_DATA_HOME, which counts only where it is absolute, else .local/share in the home).
 */
export function dataFolder(env: Env, platform: NodeJS.Platform = process.platform): string | null {
  const home = env['HOME'] ?? ''
  const named = env[platform === 'win32' ? 'LOCALAPPDATA' : 'XDG_DATA_HOME'] ?? ''
  const usual =
    home === ''
      ? null
      : platform === 'darwin'
        ? join(home, 'Library', 'Application Support')
        : join(home, '.local', 'share')
  const base =
    platform === 'win32'
      ? named === ''
        ? null
        : named
      : platform !== 'darwin' && isAbsolute(named)
        ? named
        : usual
  return base === null ? null : join(base, 'slowglow', 'runs')
}
