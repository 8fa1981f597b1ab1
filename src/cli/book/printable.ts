import { escaped } from '../report/html.js'

/** A page that needs nothing else to open, to be printed: parts are HTML already. */
export function printable(title: string, parts: readonly string[]): string {
  return [
    '<!doctype html>',
    '<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width">',
    `<title>${escaped(title)}</title><style>${style}</style></head><body>`,
    `<h1>${escaped(title)}</h1>`,
    ...parts.filter((part) => part !== ''),
    '<p class="caution">Measure before touching. Nothing on this page says that anything is without voltage.</p>',
    '</body></html>',
    '',
  ].join('\n')
}

const style = `
:root { color-scheme: light; font: 14px/1.4 system-ui, sans-serif; color: #000; background: #fff }
body { max-width: 75rem; margin: 1.5rem auto; padding: 0 1rem }
h1 { font-size: 1.6rem } h2 { font-size: 1.15rem; margin: 1.6rem 0 .4rem }
table { border-collapse: collapse; width: 100%; font-size: .8rem; font-variant-numeric: tabular-nums }
th, td { text-align: left; vertical-align: top; padding: .25rem .4rem; border: 1px solid #999; overflow-wrap: anywhere; min-width: 4.5rem }
thead { display: table-header-group } tr { break-inside: avoid }
figure { margin: .6rem 0; break-inside: avoid } img { max-width: 100%; max-height: 40rem }
.caution { font-weight: 600; margin-top: 2rem }
.sign { display: flex; gap: .7rem; align-items: end; margin: 2.2rem 0 0 } .sign span { flex: 3; border-bottom: 1px solid #000 } .sign .short { flex: 1 }
@page { margin: 12mm } @media print { body { margin: 0; max-width: none; padding: 0 } h2 { break-after: avoid } }
`
