import { autocompletion } from '@codemirror/autocomplete'
import { yaml } from '@codemirror/lang-yaml'
import { HighlightStyle, syntaxHighlighting } from '@codemirror/language'
import { lintGutter, setDiagnostics, type Diagnostic } from '@codemirror/lint'
import { tags } from '@lezer/highlight'
import { EditorView, minimalSetup } from 'codemirror'
import { useEffect, useRef } from 'preact/hooks'
import type { ApiProblem } from '../../service/api/index.js'
import { sentence } from '../shell/refused.js'
import { complete, type Schema } from './complete.js'

/** Colours of the page's own style sheet, so that light and dark are followed; words differ in weight as well. */
const look = EditorView.theme({
  '&': { color: 'var(--text)', backgroundColor: 'var(--panel)', fontSize: '0.95rem' },
  '&.cm-focused': { outline: '3px solid var(--mark)' },
  '.cm-scroller': {
    fontFamily: 'ui-monospace, monospace',
    maxHeight: '70vh',
    minHeight: '20rem',
    overflow: 'auto',
  },
  '.cm-content': { caretColor: 'var(--text)' },
  '.cm-cursor': { borderLeftColor: 'var(--text)' },
  '.cm-gutters': { backgroundColor: 'var(--panel)', color: 'var(--quiet)', border: 'none' },
  '&.cm-focused .cm-selectionBackground, .cm-selectionBackground, ::selection': {
    backgroundColor: 'var(--raised)',
  },
  '.cm-tooltip': { backgroundColor: 'var(--raised)', color: 'var(--text)', border: '2px solid var(--line)' },
  '.cm-tooltip-autocomplete ul li[aria-selected]': { backgroundColor: 'var(--text)', color: 'var(--ground)' },
  '.cm-completionDetail': { color: 'inherit' },
  '.cm-diagnostic': { borderLeft: '5px solid var(--bad)' },
  '.cm-lintRange-error': { backgroundImage: 'none', textDecoration: 'underline wavy var(--bad)' },
  '.cm-lintRange-warning': { backgroundImage: 'none', textDecoration: 'underline dotted var(--mark)' },
})
const words = HighlightStyle.define([
  { tag: [tags.propertyName, tags.definition(tags.propertyName)], fontWeight: '600' },
  { tag: tags.comment, color: 'var(--quiet)', fontStyle: 'italic' },
  { tag: tags.string, color: 'var(--link)' },
])

/**
 * A text with its errors where they stand. It lives in a tree of its own: there its styles are attached as objects, which the
 * page's policy against inline styles allows.
 */
export function Editor({
  path,
  text,
  problems,
  schema,
  readOnly,
  onText,
}: {
  readonly path: string
  readonly text: string
  readonly problems: readonly ApiProblem[]
  readonly schema: Schema | null
  readonly readOnly: boolean
  readonly onText: (text: string) => void
}) {
  const box = useRef<HTMLDivElement>(null)
  const view = useRef<EditorView | null>(null)
  /** What was typed and has not come back as `text` yet: a page that is slower than a typist must not take letters back. */
  const typed = useRef(new Set<string>())
  const fromOutside = useRef(false)
  const given = useRef({ schema, onText })
  given.current = { schema, onText }

  useEffect(() => {
    const host = box.current
    if (host === null) return
    const root = host.shadowRoot ?? host.attachShadow({ mode: 'open' })
    const made = new EditorView({
      doc: text,
      root,
      parent: root,
      extensions: [
        minimalSetup,
        yaml(),
        look,
        syntaxHighlighting(words),
        lintGutter(),
        autocompletion({ override: [(context) => complete(context, given.current.schema)] }),
        EditorView.lineWrapping,
        EditorView.editable.of(!readOnly),
        EditorView.contentAttributes.of({
          'aria-label': `Text of ${path}`,
          ...(readOnly && { tabindex: '0' }),
        }),
        EditorView.updateListener.of((update) => {
          if (!update.docChanged || fromOutside.current) return
          const now = update.state.doc.toString()
          typed.current.add(now)
          given.current.onText(now)
        }),
      ],
    })
    view.current = made
    return () => {
      made.destroy()
      view.current = null
    }
  }, [path, readOnly])

  useEffect(() => {
    const made = view.current
    if (made === null) return
    const caughtUp = made.state.doc.toString() === text
    if (!caughtUp && typed.current.has(text)) return
    typed.current.clear()
    if (caughtUp) return
    fromOutside.current = true
    made.dispatch({ changes: { from: 0, to: made.state.doc.length, insert: text } })
    fromOutside.current = false
  }, [text])

  useEffect(() => {
    const made = view.current
    if (made === null) return
    made.dispatch(
      setDiagnostics(
        made.state,
        problems.flatMap((problem) => placed(problem, path, made)),
      ),
    )
  }, [problems, path])

  return <div class="editor" ref={box} />
}

/** From the place of a problem to the end of its word or line. */
function placed(
  { at, severity, what, remedy }: ApiProblem,
  path: string,
  { state }: EditorView,
): Diagnostic[] {
  if (at?.file !== path) return []
  const line = state.doc.line(Math.max(1, Math.min(state.doc.lines, at.line)))
  const from = Math.min(line.to, line.from + Math.max(0, at.column - 1))
  const word = /^\S+/.exec(line.text.slice(from - line.from))?.[0] ?? ''
  return [
    {
      from,
      to: Math.min(line.to, from + word.length),
      severity,
      message: `${sentence(what)} ${sentence(remedy)}`,
    },
  ]
}
