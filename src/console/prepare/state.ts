import { computed, effect, signal } from '@preact/signals'
import { filesShape, type Files, textShape, type FileText } from '../../service/api/index.js'
import { plannedShape, type Planned } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { choseProfile, lastProfile } from '../shell/chosen.js'
import { go, where } from '../shell/places.js'

/** What is being prepared: the folder's files, texts that were changed or dropped in and are not written yet, and the plan of both. */
export const files = signal<Files | null>(null)
export const filesWhy = signal<Why | null>(null)
/** Texts not written yet, by path. */
export const drafts = signal<Readonly<Record<string, string>>>({})
const written = signal<Readonly<Record<string, FileText>>>({})

export const views = ['plan', 'set', 'cold', 'coverage', 'rehearse', 'book', 'bench', 'files', 'new'] as const
export type ViewName = (typeof views)[number]
export const view = computed<ViewName>(() => views.find((each) => each === where.value.rest[0]) ?? 'plan')

export const profiles = computed(() => {
  const known =
    files.value?.files.filter(({ kind }) => kind === 'profile').map(({ path, name }) => ({ path, name })) ??
    []
  const dropped = Object.entries(drafts.value).flatMap(([path, text]) =>
    kindOfText(text) === 'profile' && !known.some((each) => each.path === path)
      ? [{ path, name: nameOfText(text) }]
      : [],
  )
  return [...known, ...dropped]
})
export const profile = computed(() => {
  const named = where.value.rest[1]
  if (named !== undefined) return named
  const last = profiles.value.find(({ path }) => path === lastProfile())
  return (last ?? profiles.value[0])?.path ?? null
})

effect(() => {
  const named = where.value.rest[1]
  if (named !== undefined && where.value.place === 'prepare') choseProfile(named)
})

export function openView(name: ViewName, ...rest: readonly string[]): void {
  const chosen = profile.peek()
  go('prepare', name, ...(rest.length > 0 ? rest : chosen === null ? [] : [chosen]))
}

export const kindOfText = (text: string): string | null =>
  /^slowglow: *(equipment|bench|profile) 1/m.exec(text)?.[1] ?? null
const nameOfText = (text: string): string | null => /^name: *["']?(.+?)["']? *$/m.exec(text)?.[1] ?? null

export async function listFiles(): Promise<void> {
  const came = await call('files', filesShape)
  if (came.ok) {
    files.value = came.value
    filesWhy.value = null
  } else filesWhy.value = came.why
}

/** The text of a file as it is written, fetched once until it is written again. */
export async function textOf(path: string): Promise<FileText | null> {
  const known = written.peek()[path]
  if (known !== undefined) return known
  const came = await call('readFile', textShape, { query: { path } })
  if (!came.ok) return null
  written.value = { ...written.peek(), [path]: came.value }
  return came.value
}
export function nowWritten(path: string, text: string, hash: string, kind: FileText['kind']): void {
  written.value = { ...written.peek(), [path]: { path, text, hash, kind } }
  discard(path)
}
export function draft(path: string, text: string): void {
  if (written.peek()[path]?.text === text) discard(path)
  else drafts.value = { ...drafts.peek(), [path]: text }
}
export function discard(path: string): void {
  drafts.value = Object.fromEntries(Object.entries(drafts.peek()).filter(([each]) => each !== path))
}

export const planned = signal<Planned | null>(null)
export const planWhy = signal<Why | null>(null)
export const planning = signal(false)
let of = ''

/** The plan of the chosen profile with every unwritten text in it; asked for again only when one of these changed. */
export async function plan(path: string | null, texts: Readonly<Record<string, string>>): Promise<void> {
  if (path === null) return
  const asked = JSON.stringify([path, texts])
  if (asked === of) return
  of = asked
  planning.value = true
  const came = await call('plan', plannedShape, {
    body: { profile: path, texts, parts: true },
    within_ms: 120_000,
  })
  if (asked !== of) return
  planning.value = false
  planned.value = came.ok ? came.value : null
  planWhy.value = came.ok ? null : came.why
  if (!came.ok && came.why.code === 'no connection') of = ''
}
/** A file was written: what was planned from the old one is planned anew. */
export function planAnew(): void {
  of = ''
  void plan(profile.peek(), drafts.peek())
}
