import type { BookBody, BookEntry } from '../../book/index.js'
import type { RunLine } from '../../record/index.js'

/** A set's life in order: what stands in its book, and runs of a set of its name that lie in the folders and not in the book. */
export interface Life {
  readonly equipment: string
  readonly path: string
  readonly entries: readonly BookEntry[]
  readonly runs: readonly RunLine[]
  readonly last: string | null
}

export interface LifeLine {
  readonly at: string
  readonly seq: number | null
  readonly by: string
  readonly kind: string
  readonly text: string
  /** Name of the run that it tells of. */
  readonly run: string | null
}

export function lifeLines({ entries, runs }: Pick<Life, 'entries' | 'runs'>): LifeLine[] {
  const inBook = new Set(entries.flatMap(({ body }) => (body.kind === 'run' ? [body.run] : [])))
  const own = entries.map(({ at, seq, by, on, body }) => ({
    at,
    seq,
    by,
    kind: body.kind,
    text: `${bodyText(body)}${on === null ? '' : ` (done on ${on})`}`,
    run: body.kind === 'run' ? body.run : null,
  }))
  const found = runs
    .filter(({ run }) => !inBook.has(run))
    .map(({ run, started, profile, outcome, reason, ...off }) => ({
      at: started ?? '',
      seq: null,
      by: '',
      kind: 'run',
      text: `${run}, ${profile ?? 'profile not known'}: ${outcome ?? 'not known'}, ${offWords(offOf(off))}${reason === null ? '' : `: ${reason}`} (from its run file: of a set of this name, not in this book)`,
      run,
    }))
  return [...own, ...found].sort((a, b) => a.at.localeCompare(b.at))
}

function offOf({
  outputs_off,
  nothing_to_confirm,
  hands_open,
}: Pick<RunLine, 'outputs_off' | 'nothing_to_confirm' | 'hands_open'>): string {
  if (outputs_off !== 'confirmed' && !nothing_to_confirm)
    return hands_open.length === 0
      ? (outputs_off ?? 'not known')
      : `not confirmed; nor by the person: ${hands_open.join(', ')}`
  if (hands_open.length > 0) return `not confirmed by the person: ${hands_open.join(', ')}`
  return nothing_to_confirm ? 'nothing to confirm' : (outputs_off ?? 'not known')
}

/** How a run left its outputs, from the word that its book keeps. */
function offWords(off: string): string {
  if (off === 'confirmed') return 'outputs confirmed off'
  if (off === 'nothing to confirm')
    return 'every knob told down by the person, no output slowglow’s to confirm'
  const [, whose, rails] = /^not confirmed(; nor)? by the person: (.+)$/.exec(off) ?? []
  if (rails === undefined) return 'outputs NOT confirmed off'
  return `${whose === undefined ? '' : 'outputs NOT confirmed off; '}NOT confirmed off by the person: ${rails}`
}

export function bodyText(body: BookBody): string {
  switch (body.kind) {
    case 'description':
      return body.text
    case 'serial':
      return `${body.what}: ${body.number}`
    case 'photograph':
      return `photograph ${body.name}${body.caption === '' ? '' : `: ${body.caption}`}`
    case 'finding':
    case 'repair':
      return `${body.text}${body.parts.length === 0 ? '' : ` [${body.parts.join(', ')}]`}`
    case 'replaced':
      return `${body.part}: was ${body.was}, now ${body.now}${body.text === '' ? '' : `. ${body.text}`}`
    case 'reading':
      return `${body.item}: ${body.written}, ${body.verdict} (wanted ${body.wanted})${body.meter === '' ? '' : `, with ${body.meter}`}`
    case 'waiver':
      return `WAIVED ${body.item} (${body.about}): ${body.reason}`
    case 'run':
      return `${body.run}, ${body.profile}${body.bench_kind === 'virtual' ? ', virtual bench: nothing real was energised' : ''}: ${body.outcome}, ${offWords(body.outputs_off)}${body.reason === null ? '' : `: ${body.reason}`}${body.seal === null ? '' : ` (its seal ends in ${body.seal})`}`
    case 'proof':
      return `${body.of}, ${body.what}: ${body.verdict.toUpperCase()}. ${[...body.readings, ...body.figures].map(({ text }) => text).join('; ')}. ${body.judged.join(' ')}`
  }
}

export function bookText(life: Life): string {
  const lines = lifeLines(life)
  return [
    `The book of ${life.equipment}`,
    ...lines.map(({ at, seq, by, kind, text }) => {
      const number = seq === null ? '   -' : String(seq + 1).padStart(4)
      return `${number}  ${at.slice(0, 16).replace('T', ' ')}  ${kind}${by === '' ? '' : `, ${by}`}: ${text}`
    }),
    ...(lines.length === 0 ? ['Nothing is written in it yet.'] : []),
    life.last === null ? `It will lie at ${life.path}` : `Last link ${life.last}; file ${life.path}`,
  ].join('\n')
}
