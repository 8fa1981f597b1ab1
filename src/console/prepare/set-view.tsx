import { useSignal } from '@preact/signals'
import { useMemo } from 'preact/hooks'
import type { Equipment } from '../../equipment/index.js'
import { inV } from '../words/figures.js'
import { drawNetwork } from './drawing.js'
import { partWords } from './part-words.js'
import { Chassis, Sketch } from './sketch.js'
import { planned } from './state.js'

/** The set as its file has it: rails, the network between them and the chassis, heater chains; and the same as a list. */
export function View() {
  const equipment = planned.value?.parts?.equipment
  return equipment === undefined ? null : <TheSet key={equipment.name} equipment={equipment} />
}

function TheSet({ equipment }: { readonly equipment: Equipment }) {
  const rails = Object.entries(equipment.rails)
  const drawn = rails.filter(([, { role }]) => role !== 'heater').map(([name]) => name)
  const rail = useSignal(drawn.includes('HT') ? 'HT' : (drawn[0] ?? ''))
  const larger = useSignal(false)
  const drawing = useMemo(() => drawNetwork(equipment, rail.value), [equipment, rail.value])
  return (
    <article>
      <h1>{equipment.name}</h1>
      <p>
        Level {equipment.level} of 3:{' '}
        {
          ['rails and tubes by type', 'with the handbook’s charts', 'with its whole network'][
            equipment.level - 1
          ]
        }
        . Chassis {equipment.chassis}.
      </p>
      <section class="panel">
        <h2>Rails</h2>
        <ul>
          {rails.map(([name, each]) => (
            <li key={name}>
              <strong>{name}</strong> ({each.role}): {inV(each.working_V)} from {each.positive} to{' '}
              {each.negative}, never above {inV(each.max_V.value)}{' '}
              <span class="quiet">({each.max_V.source})</span>
            </li>
          ))}
        </ul>
      </section>
      <section class="panel">
        <h2>What hangs on it</h2>
        <div class="row no-print">
          <p>
            <label for="drawn-rail">Rail</label>
            <select
              id="drawn-rail"
              value={rail.value}
              onChange={(event) => {
                rail.value = event.currentTarget.value
              }}
            >
              {drawn.map((each) => (
                <option key={each}>{each}</option>
              ))}
            </select>
          </p>
          <button
            type="button"
            aria-pressed={larger.value}
            onClick={() => {
              larger.value = !larger.value
            }}
          >
            Larger
          </button>
        </div>
        <Sketch
          drawing={drawing}
          scale={larger.value ? 1.6 : null}
          label={`Parts that hang on ${rail.value} of ${equipment.name}`}
        />
        <p class="quiet">
          <svg
            class="chassis-key"
            width="22"
            height="16"
            viewBox="-11 -1 22 16"
            role="img"
            aria-label="Chassis mark"
          >
            <Chassis x={0} y={0} />
          </svg>{' '}
          an end at the chassis. Each part has its own, so that lines stay apart.
        </p>
      </section>
      <HeaterChains equipment={equipment} />
      <details class="panel">
        <summary>All parts as a list</summary>
        <ul>
          {Object.entries(equipment.parts).map(([name, part]) => (
            <li key={name}>
              <strong>{name}</strong> {partWords(part)}
              {part.note !== undefined && <span class="quiet"> {part.note}</span>}
            </li>
          ))}
          {Object.entries(equipment.rail_capacitors).map(([name, { rail: of, F, rated_V }]) => (
            <li key={name}>
              <strong>{name}</strong>{' '}
              {partWords({
                kind: 'capacitor',
                between: [of, 'chassis'],
                F,
                rated_V,
                dielectric: 'electrolytic',
              })}
            </li>
          ))}
          {Object.entries(equipment.tubes).map(([name, { type, does, pulled }]) => (
            <li key={name}>
              <strong>{name}</strong> {type} {does}
              {pulled === true && ' (pulled)'}
            </li>
          ))}
        </ul>
      </details>
    </article>
  )
}

/** Elements in series from the rail to its other end; those in parallel share a box. */
function HeaterChains({ equipment }: { readonly equipment: Equipment }) {
  const chains = Object.entries(equipment.heater_chains)
  if (chains.length === 0) return null
  return (
    <section class="panel">
      <h2>Heater chains</h2>
      {chains.map(([name, { rail, series }]) => (
        <div key={name} class="chain">
          <h3>
            {name} on {rail}
          </h3>
          <ol aria-label={`Chain ${name}, in series`}>
            {series.map((group, i) => (
              <li key={i}>
                {group.map((part) => (
                  <span key={part}>
                    {part} <small>{equipment.tubes[part]?.type ?? equipment.parts[part]?.kind ?? ''}</small>
                  </span>
                ))}
              </li>
            ))}
          </ol>
        </div>
      ))}
    </section>
  )
}
