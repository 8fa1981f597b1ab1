import type { ToldPart, ToldSection } from '../../plan/index.js'

/** What a plan tells beside its steps, as the terminal has it too. */
export function Told({ sections }: { readonly sections: readonly ToldSection[] }) {
  return (
    <>
      {sections.map(({ title, parts }) => (
        <section class="panel told-section" key={title}>
          <h2>{title}</h2>
          {groups(parts).map((group, i) => (
            <Group key={i} group={group} title={title} />
          ))}
        </section>
      ))}
    </>
  )
}

/** Items that follow each other are one list. */
function groups(parts: readonly ToldPart[]): readonly (readonly ToldPart[])[] {
  const all: ToldPart[][] = []
  for (const part of parts) {
    const last = all.at(-1)
    if (part.is === 'item' && last?.[0]?.is === 'item') last.push(part)
    else all.push([part])
  }
  return all
}

function Group({ group, title }: { readonly group: readonly ToldPart[]; readonly title: string }) {
  const [first] = group
  switch (first?.is) {
    case 'head':
      return <h3>{first.text}</h3>
    case 'line':
      return (
        <p>
          {first.text} <Source of={first} />
        </p>
      )
    case 'item':
      return (
        <ul>
          {group.map((part, i) =>
            part.is === 'item' ? (
              <li key={i}>
                {part.text} <Source of={part} />
              </li>
            ) : null,
          )}
        </ul>
      )
    case 'table':
      return (
        <div class="scroll" tabIndex={0} role="region" aria-label={title}>
          <table>
            <thead>
              <tr>
                {first.head.map((each) => (
                  <th scope="col" key={each}>
                    {each}
                  </th>
                ))}
              </tr>
            </thead>
            <tbody>
              {first.rows.map((row, i) => (
                <tr key={i}>
                  {row.map((cell, at) =>
                    at === 0 ? (
                      <th scope="row" key={at}>
                        {cell}
                      </th>
                    ) : (
                      <td key={at}>{cell}</td>
                    ),
                  )}
                </tr>
              ))}
            </tbody>
          </table>
        </div>
      )
    case undefined:
      return null
  }
}

const Source = ({ of: { source } }: { readonly of: { readonly source?: string } }) =>
  source === undefined ? null : <span class="quiet">Source: {source}</span>
