import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { checkShape, writtenShape, type Check, type FileText } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { isLive, mayDo } from '../live/state.js'
import { addressOf, where } from '../shell/places.js'
import { Problems, Refused } from '../shell/refused.js'
import { schemaShape, type Schema } from './complete.js'
import { Editor } from './editor.js'
import {
  discard,
  draft,
  drafts,
  files,
  kindOfText,
  listFiles,
  looked,
  nowWritten,
  planAnew,
  profile,
  textOf,
} from './state.js'

const check_ms = 400
const schemas = new Map<string, Schema>()

/** The files themselves, with errors marked where they stand; nothing is written until it is asked for. */
export function View() {
  const known = files.value?.files.map(({ path }) => path) ?? []
  const dropped = Object.keys(drafts.value).filter((path) => !known.includes(path))
  const chosenProfile = files.value?.files.find(({ path }) => path === profile.value)
  const open = where.value.rest[2] ?? profile.value ?? known[0] ?? dropped[0] ?? null
  const addressed = (path: string): string => addressOf('prepare', 'files', profile.value ?? path, path)
  return (
    <article>
      <h1>Files</h1>
      <p class="quiet">
        Folder {files.value?.folder ?? ''}. A text that is changed here is a draft until you write it.
      </p>
      <div class="side">
        <nav aria-label="Files of this folder">
          <ul>
            {[...known, ...dropped].map((path) => (
              <li key={path}>
                <a href={addressed(path)} aria-current={path === open ? 'true' : undefined}>
                  {path === open ? '▸ ' : ''}
                  {path}
                  {drafts.value[path] !== undefined && ' (not written)'}
                  {(path === chosenProfile?.equipment || path === chosenProfile?.bench) && (
                    <span class="quiet"> of this profile</span>
                  )}
                </a>
              </li>
            ))}
          </ul>
        </nav>
        {open !== null && <OpenFile key={open} path={open} />}
      </div>
    </article>
  )
}

function OpenFile({ path }: { readonly path: string }) {
  const onDisk = useSignal<FileText | null>(null)
  const checked = useSignal<Check | null>(null)
  const schema = useSignal<Schema | null>(null)
  const why = useSignal<Why | null>(null)
  const told = useSignal('')
  const others = useSignal(false)
  const text = drafts.value[path] ?? onDisk.value?.text ?? null
  const kind = text === null ? null : kindOfText(text)

  useEffect(() => {
    void textOf(path).then((found) => {
      // Of a text that is being changed the hash that it was read with stays: what another wrote since is not written over.
      if (drafts.peek()[path] === undefined || onDisk.peek() === null) onDisk.value = found
      else others.value = found !== null && found.hash !== onDisk.peek()?.hash
    })
  }, [path, looked.value])
  useEffect(() => {
    if (kind === null) return
    const had = schemas.get(kind)
    if (had !== undefined) {
      schema.value = had
      return
    }
    void call('schema', schemaShape, { params: { kind } }).then((came) => {
      if (!came.ok) return
      schemas.set(kind, came.value)
      schema.value = came.value
    })
  }, [kind])
  useEffect(() => {
    if (text === null) return
    const timer = setTimeout(() => {
      void call('check', checkShape, { body: { path, text, texts: drafts.peek() } }).then((came) => {
        if (came.ok) checked.value = came.value
        else why.value = came.why
      })
    }, check_ms)
    return () => {
      clearTimeout(timer)
    }
  }, [path, text])

  if (text === null) return <p class="quiet">The text is on its way.</p>
  const problems = checked.value?.problems ?? []
  const errors = problems.filter(({ severity }) => severity === 'error').length
  const unwritten = drafts.value[path] !== undefined
  const write = (): void => {
    why.value = null
    const body = { path, text, replaces: onDisk.value?.hash ?? null }
    void call('writeFile', writtenShape, { body }).then((came) => {
      if (!came.ok) {
        why.value = came.why
        return
      }
      nowWritten(path, text, came.value.hash, came.value.kind)
      onDisk.value = { path, text, hash: came.value.hash, kind: came.value.kind }
      told.value = `${path} is written.`
      void listFiles()
      planAnew()
    })
  }
  return (
    <section aria-label={path}>
      {isLive.value && <p class="remark">A run is under way: Esc stops it, in this text too.</p>}
      <Editor
        path={path}
        text={text}
        problems={problems}
        schema={schema.value}
        readOnly={false}
        onText={(next) => {
          told.value = ''
          draft(path, next)
        }}
      />
      <p role="status">
        {checked.value === null
          ? ''
          : errors > 0
            ? `✕ ${errors} ${errors === 1 ? 'error' : 'errors'}`
            : problems.length > 0
              ? `△ no error, ${problems.length} to be looked at`
              : '● nothing wrong found'}
        {told.value !== '' && ` ${told.value}`}
      </p>
      <Problems problems={problems} />
      {others.value && unwritten && (
        <p class="finding" role="alert">
          ✕ {path} was changed elsewhere since you began. Yours is not written over it: take it from here, go
          back to what is written, and put it in there.
        </p>
      )}
      <Refused why={why.value} />
      <div class="row">
        {mayDo('write') && (
          <button type="button" class="chief" disabled={!unwritten && onDisk.value !== null} onClick={write}>
            Write {path}
          </button>
        )}
        {unwritten && onDisk.value !== null && (
          <button
            type="button"
            onClick={() => {
              discard(path)
              others.value = false
              looked.value += 1
            }}
          >
            Back to what is written
          </button>
        )}
      </div>
    </section>
  )
}
