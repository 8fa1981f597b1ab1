import { isHotRole, type OffPlan } from '../plan/index.js'
import { openSpare, type PortLine } from '../supply/index.js'

/** What an urgent OFF takes at once: drive, screen and HT, in the plan's order. Never heaters or bias: they follow by rule. */
export function atOnce(off: OffPlan): OffPlan['channels'] {
  return off.channels.filter(({ role }) => isHotRole(role))
}

/**
 * Their OFFs on every port with nothing asked and nothing decided, the text laid ready in the off plan. On a serial port they are
 * in the kernel when this returns, whoever else holds it; what could not be written so (another kind of line, a refusal) is
 * given to `otherwise`.
 */
export function offAtOnce(
  off: OffPlan,
  places: Readonly<Record<string, PortLine>>,
  otherwise: (port: string, text: string) => void = () => undefined,
): void {
  for (const [port, place] of Object.entries(places)) {
    const texts = atOnce(off).flatMap((channel) => (channel.port === port ? [channel.off_text] : []))
    if (texts.length === 0) continue
    if (place.kind !== 'serial' || !written(place, texts.join(''))) otherwise(port, texts.join(''))
  }
}

function written(place: PortLine, text: string): boolean {
  const spare = openSpare(place)
  const taken = spare.writeNow(text)
  spare.close()
  return taken
}
