import { computed, effect, signal } from '@preact/signals'
import * as z from 'zod'
import { filesShape, type Files, textShape, type FileText } from '../../service/api/index.js'
import { plannedShape, type Planned } from '../../service/api/index.js'
import { call, type Why } from '../api/call.js'
import { isLive } from '../live/state.js'
import { choseProfile, lastProfile } from '../shell/chosen.js'
import { go, where } from '../shell/places.js'
import { say } from '../shell/say.js'
import { firstOffered } from '../words/offered.js'

/** What is being prepared: the folder's files, texts that were changed or dropped in and are not written yet, and the plan of both. */
export const files = signal<Files | null>(null)
export const filesWhy = signal<Why | null>(null)
/** Texts not written yet, by path; a page that is loaded again has them still. */
const kept = 'slowglow.drafts'
export const drafts = signal<Readonly<Record<string, string>>>(keptDrafts())
effect(() => {
  try {
    sessionStorage.setItem(kept, JSON.stringify(drafts.value))
  } catch {
    // More than this browser keeps: they last as long as the page does.
  }
})
function keptDrafts(): Readonly<Record<string, string>> {
  try {
    const read = z.record(z.string(), z.string()).safeParse(JSON.parse(sessionStorage.getItem(kept) ?? '{}'))
    return read.success ? read.data : {}
  } catch {
    return {}
  }
}
/** Closing it loses them, and is asked back; never in a run, where a question of the browser would lie over the stop. */
addEventListener('beforeunload', (event) => {
  if (Object.keys(drafts.peek()).length > 0 && !isLive.peek()) event.preventDefault()
})
const written = signal<Readonly<Record<string, FileText>>>({})

export const views = [
  'plan',
  'set',
  'cold',
  'coverage',
  'rehearse',
  'book',
  'aerial',
  'bench',
  'files',
  'new',
] as const
export type ViewName = (typeof views)[number]
export const view = computed<ViewName>(() => views.find((each) => each === where.value.rest[0]) ?? 'plan')

export const profiles = computed(() => {
  const known = (files.value?.files ?? [])
    .filter(({ kind }) => kind === 'profile')
    .map(({ path, name, equipment, is }) => ({ path, name, equipment, is }))
  const dropped = Object.entries(drafts.value).flatMap(([path, text]) =>
    kindOfText(text) === 'profile' && !known.some((each) => each.path === path)
      ? [{ path, name: nameOfText(text), equipment: null, is: null }]
      : [],
  )
  return [...known, ...dropped]
})
export const profile = computed(() => {
  const named = where.value.rest[1]
  if (named !== undefined) return named
  const last = profiles.value.find(({ path }) => path === lastProfile())
  return (last ?? firstOffered(profiles.value))?.path ?? null
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

/** The text of a file as it is written, fetched once until somebody comes back to the page. */
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
/** The plan that is shown is not the one that was shown before: something outside of this page has changed. */
export const replanned = signal(false)
/** Rises when what is written may be another than was fetched. */
export const looked = signal(0)
let of = ''
let turn = 0

/** The plan of the chosen profile with every unwritten text in it; asked for again only when one of these changed. */
export async function plan(path: string | null, texts: Readonly<Record<string, string>>): Promise<void> {
  if (path === null) return
  const asked = JSON.stringify([path, texts])
  if (asked === of) return
  of = asked
  planning.value = true
  replanned.value = false
  await ask(path, texts, false)
}
/** A file was written: what was planned from the old one is planned anew. */
export function planAnew(): void {
  of = ''
  void plan(profile.peek(), drafts.peek())
}

/**
 * Somebody comes back to this page: a file may have been changed in another editor, a reading have come from a telephone, a supply been
 * measured. Everything is looked at again, and what did not change stays as it stands.
 */
export async function lookAgain(): Promise<void> {
  const path = profile.peek()
  if (isLive.peek() || planning.peek()) return
  written.value = {}
  looked.value += 1
  await Promise.all([listFiles(), path === null || of === '' ? null : ask(path, drafts.peek(), true)])
}

async function ask(path: string, texts: Readonly<Record<string, string>>, again: boolean): Promise<void> {
  const mine = ++turn
  const came = await call('plan', plannedShape, {
    body: { profile: path, texts, parts: true },
    within_ms: 120_000,
  })
  if (mine !== turn) return
  planning.value = false
  const lost = !came.ok && came.why.code === 'no connection'
  if (lost) of = ''
  // What is not known now is not shown as changed; the page says elsewhere that the connection is lost.
  if (again && lost) return
  const before = planned.peek()
  if (came.ok && again && JSON.stringify(before) === JSON.stringify(came.value)) return
  if (again && before !== null && (!came.ok || came.value.plan.hash !== before.plan.hash)) {
    replanned.value = true
    say('What this plan was made from has changed. It is planned anew.')
  }
  planned.value = came.ok ? came.value : null
  planWhy.value = came.ok ? null : came.why
}
