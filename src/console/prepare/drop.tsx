import { useSignal } from '@preact/signals'
import { useEffect } from 'preact/hooks'
import { draft, kindOfText, listFiles, openView } from './state.js'

const longest = 500_000

/** A YAML file from anywhere on this computer: chosen, or dropped on the page. It is a draft until it is written. */
export function Drop() {
  const over = useSignal(false)
  const trouble = useSignal<string | null>(null)
  const take = async (list: FileList | null): Promise<void> => {
    trouble.value = null
    let first: { readonly path: string; readonly kind: string | null } | null = null
    for (const file of list ?? []) {
      if (!/\.ya?ml$/i.test(file.name) || file.size > longest) {
        trouble.value = `${file.name} is no YAML file of at most half a million bytes.`
        continue
      }
      const text = await file.text()
      draft(file.name, text)
      const kind = kindOfText(text)
      if (first === null || kind === 'profile') first = { path: file.name, kind }
    }
    if (first === null) return
    await listFiles()
    openView(first.kind === 'profile' ? 'plan' : 'files', first.path)
  }
  useEffect(() => {
    const enter = (event: DragEvent): void => {
      if (event.dataTransfer?.types.includes('Files') !== true) return
      event.preventDefault()
      over.value = true
    }
    const leave = (event: DragEvent): void => {
      if (event.relatedTarget === null) over.value = false
    }
    const drop = (event: DragEvent): void => {
      event.preventDefault()
      over.value = false
      void take(event.dataTransfer?.files ?? null)
    }
    addEventListener('dragover', enter)
    addEventListener('dragleave', leave)
    addEventListener('drop', drop)
    return () => {
      removeEventListener('dragover', enter)
      removeEventListener('dragleave', leave)
      removeEventListener('drop', drop)
    }
  }, [])
  return (
    <p class="drop no-print" data-over={over.value}>
      <label for="drop-file">
        {over.value ? 'Let go: it is taken in' : 'or drop YAML files on the page'}
      </label>
      <input
        id="drop-file"
        type="file"
        accept=".yaml,.yml"
        multiple
        onChange={(event) => {
          void take(event.currentTarget.files)
        }}
      />
      {trouble.value !== null && <span role="alert">✕ {trouble.value}</span>}
    </p>
  )
}
