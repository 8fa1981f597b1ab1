/**
 * A terminal of the bench machine that somebody sits at elsewhere: it counts, and the record says so. Told by what the login leaves in
 * the environment, which a person may take away.
 */
export function overSsh(
  env: Readonly<Record<string, string | undefined>>,
): { readonly text: string; readonly data: Readonly<Record<string, string>> } | null {
  // "Address port" of the other end; then, in the first of the two, those of this one.
  const told = env['SSH_CONNECTION'] ?? env['SSH_CLIENT']
  if (told === undefined && env['SSH_TTY'] === undefined) return null
  const from = /^[0-9a-fA-F.:%\w]+/.exec(told?.trim() ?? '')?.[0] ?? 'not told'
  return {
    text: `This terminal is reached by ssh, from ${from === 'not told' ? 'an address that is not told' : from}.`,
    data: { channel: 'terminal', by: 'ssh', from },
  }
}
