import type { ApiProblem } from '../../service/api/index.js'
import type { Why } from '../api/call.js'

/** Why something was not done: what happened, where, what to do. */
export function Refused({ why }: { readonly why: Pick<Why, 'what' | 'remedy' | 'problems'> | null }) {
  if (why === null) return null
  return (
    <div class="finding" role="alert">
      <p>✕ {why.what}</p>
      {why.remedy !== null && <p>{why.remedy}</p>}
      <Problems problems={why.problems} />
    </div>
  )
}

export function Problems({ problems }: { readonly problems: readonly ApiProblem[] }) {
  if (problems.length === 0) return null
  return (
    <ul>
      {problems.map((problem, i) => (
        <li key={i}>
          {problem.severity === 'error' ? '✕ error' : '△ warning'}
          {problem.at !== null && ` ${problem.at.file}:${problem.at.line}:${problem.at.column}`}:{' '}
          {sentence(problem.what)} {sentence(problem.remedy)}
        </li>
      ))}
    </ul>
  )
}

/** As a sentence of its own, with one stop at its end. */
export const sentence = (text: string): string =>
  text.charAt(0).toUpperCase() + text.slice(1) + (/[.!?]$/.test(text) ? '' : '.')
