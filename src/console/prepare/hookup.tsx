import type { PlanDocument } from '../../service/api/index.js'

/** Every line that is made and confirmed before the first volt, in its order, with a box to be ticked on paper. */
export function Hookup({ plan }: { readonly plan: PlanDocument }) {
  const of = (whose: string): readonly string[] =>
    plan.wires.flatMap(({ of: whom, text }) => (whom === whose ? [text] : []))
  const dead = plan.prove_dead.map(
    ({ rail, at }) => `proved dead before anything is touched: ${rail} at ${at}, 5 V at most`,
  )
  const meters = of('meters')
  return (
    <section class="panel">
      <h2>Hook-up</h2>
      <p>
        You confirm each line at the start, in this order; then it is proved electrically before anything goes
        above 5 V. Where the set’s last run had the same lines, one question stands for them: nothing moved?
      </p>
      <Boxes lines={[...dead, ...of('first')]} />
      {plan.hookup.map(({ rail, supply, proved_by, advice = [] }) => (
        <div key={`${rail}${supply}`}>
          <h3>
            {rail}, from {supply}
          </h3>
          <Boxes lines={of(rail)} />
          <p class="quiet">Proved by {proved_by}.</p>
          {advice.length > 0 && (
            <details>
              <summary>what would let less through</summary>
              {advice.map((text) => (
                <p key={text} class="quiet">
                  {text}
                </p>
              ))}
            </details>
          )}
        </div>
      ))}
      {meters.length > 0 && <h3>Meters that stay clipped on</h3>}
      <Boxes lines={meters} />
    </section>
  )
}

function Boxes({ lines }: { readonly lines: readonly string[] }) {
  return (
    <ul class="boxes">
      {lines.map((line) => (
        <li key={line}>{line}</li>
      ))}
    </ul>
  )
}
