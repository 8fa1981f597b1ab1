import type { Files } from '../../service/api/index.js'

type Profile = Pick<Files['files'][number], 'path' | 'equipment' | 'is'>

/** Where nothing was looked at yet: of the set that most can be done with the receiver, which comes before all else. */
export function firstOffered<P extends Profile>(profiles: readonly P[]): P | undefined {
  const of = new Map<string, P[]>()
  for (const each of profiles) of.set(each.equipment ?? '', [...(of.get(each.equipment ?? '') ?? []), each])
  const [most = []] = [...of.values()].toSorted((a, b) => b.length - a.length)
  return most.find(({ is }) => is === 'receive') ?? most[0]
}
