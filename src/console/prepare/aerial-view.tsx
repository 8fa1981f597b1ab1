import { useSignal } from '@preact/signals'
import { aerialCaution, aerialFigures, aerialProblem, usualEnd } from '../../rf/index.js'
import { Field } from '../shell/field.js'
import { inM, typedNumber } from '../words/figures.js'

/** Lengths of wire elements for a frequency, to be printed and taken to the garden. */
export function View() {
  const MHz = useSignal('')
  const factor = useSignal('')
  const asked = typedNumber(MHz.value)
  const end = factor.value.trim() === '' ? usualEnd : typedNumber(factor.value)
  const wrong = problemOf(MHz.value, asked, end)
  return (
    <article>
      <h1>Aerial sheet{asked !== null && wrong === null && `, ${MHz.value.trim()} MHz`}</h1>
      <section class="panel" aria-label="For which frequency">
        <div class="row">
          <Field
            id="aerial-frequency"
            words="Frequency, MHz"
            size={10}
            numeric
            text={MHz.value}
            set={(text) => {
              MHz.value = text
            }}
          />
          <Field
            id="aerial-end"
            words={`End factor: how much shorter than in free space a resonant wire is (${usualEnd.toLocaleString()} where nothing is typed)`}
            size={6}
            numeric
            text={factor.value}
            set={(text) => {
              factor.value = text
            }}
          />
          <p class="no-print">
            <button
              type="button"
              disabled={asked === null || wrong !== null}
              onClick={() => {
                print()
              }}
            >
              Print it
            </button>
          </p>
        </div>
        {wrong !== null && (
          <p class="finding" role="alert">
            {wrong}
          </p>
        )}
      </section>
      {asked !== null && end !== null && wrong === null && (
        <section class="panel" aria-labelledby="aerial-lengths">
          <h2 id="aerial-lengths">Lengths</h2>
          <table>
            <thead>
              <tr>
                <th scope="col">what</th>
                <th scope="col" class="n">
                  length
                </th>
                <th scope="col">how</th>
              </tr>
            </thead>
            <tbody>
              {aerialFigures(asked * 1e6, end).map(({ key, what, value, how }) => (
                <tr key={key}>
                  <th scope="row">{what.trim()}</th>
                  <td class="n">{value === null ? '' : inM(value)}</td>
                  <td>{how}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </section>
      )}
      <p class="remark">▲ {aerialCaution}</p>
    </article>
  )
}

function problemOf(typed: string, MHz: number | null, end: number | null): string | null {
  if (typed.trim() === '') return null
  if (MHz === null) return `${typed.trim()} is no plain number of megahertz. Type it such as 3.65 or 3,65.`
  if (end === null) return 'The end factor is no number. Type it such as 0.95 or 0,95.'
  const wrong = aerialProblem(MHz * 1e6, end)
  return wrong === null ? null : `${wrong.charAt(0).toUpperCase()}${wrong.slice(1)}.`
}
