// The import rules of DEVELOPERS.md, enforced. Pure rooms import nothing of Node and nothing of the shell.
const may = {
  quantities: [],
  chance: [],
  tubes: ['quantities'],
  network: ['tubes', 'quantities'],
  equipment: ['network', 'tubes', 'quantities'],
  bench: ['equipment', 'network', 'tubes', 'quantities'],
  profile: ['equipment', 'network', 'tubes', 'quantities'],
  limits: ['chance', 'equipment', 'bench', 'profile', 'network', 'tubes', 'quantities'],
  plan: ['chance', 'limits', 'profile', 'equipment', 'bench', 'network', 'tubes', 'quantities'],
  cautions: ['plan', 'quantities'],
  exchange: [],
  sequencer: ['exchange', 'plan', 'quantities'],
  line: ['exchange', 'bench', 'quantities'],
  story: ['exchange', 'sequencer', 'plan', 'quantities'],
  loop: ['exchange', 'line', 'sequencer', 'plan', 'bench', 'quantities'],
  virtual: ['chance', 'network', 'tubes', 'equipment', 'bench', 'quantities'],
  rehearse: ['chance', 'exchange', 'story', 'loop', 'virtual', 'line', 'sequencer', 'plan', 'limits', 'profile', 'equipment', 'bench', 'network', 'tubes', 'quantities', 'cautions'],
  files: ['equipment', 'bench', 'profile', 'quantities', 'tubes'],
  supply: ['exchange', 'line', 'bench', 'quantities'],
  record: ['exchange', 'story', 'plan', 'quantities'],
  controller: ['exchange', 'story', 'cautions', 'loop', 'line', 'sequencer', 'supply', 'record', 'plan', 'bench', 'quantities'],
}
const pure = ['quantities', 'chance', 'tubes', 'network', 'equipment', 'bench', 'profile', 'limits', 'plan', 'cautions', 'exchange', 'sequencer', 'line', 'story', 'loop', 'virtual', 'rehearse']
module.exports = {
  forbidden: [
    { name: 'no-circles', severity: 'error', from: {}, to: { circular: true, viaOnly: { dependencyTypesNot: ['type-only'] } } },
    {
      name: 'pure-rooms-import-no-node',
      comment: 'They also run in the page.',
      severity: 'error',
      from: { path: `^src/(${pure.join('|')})/` },
      to: { dependencyTypes: ['core'] },
    },
    {
      name: 'pure-rooms-import-no-packages',
      comment: 'Only zod, which is pure itself.',
      severity: 'error',
      from: { path: `^src/(${pure.join('|')})/` },
      to: { path: 'node_modules', pathNot: 'node_modules/zod/' },
    },
    {
      name: 'a-room-is-entered-through-its-index',
      severity: 'error',
      from: { path: '^src/([^/]+)/' },
      to: { path: '^src/([^/]+)/', pathNot: ['^src/$1/', '^src/[^/]+/index\\.ts$', '^src/record/client\\.ts$'] },
    },
    {
      name: 'a-client-of-the-recorder-carries-no-database',
      comment: 'The controller imports it, and must not be held up by a disk. It is the second face of its room.',
      severity: 'error',
      from: { path: '^src/record/client\\.ts$' },
      to: { path: 'better-sqlite3|node_modules/serialport', reachable: true },
    },
    ...Object.entries(may).map(([room, rooms]) => ({
      name: `${room}-imports-only-its-neighbours`,
      severity: 'error',
      from: { path: `^src/${room}/` },
      to: { path: '^src/', pathNot: [`^src/(${[room, ...rooms].join('|')})/`] },
    })),
  ],
  options: { tsPreCompilationDeps: true, tsConfig: { fileName: 'tsconfig.json' }, doNotFollow: { path: 'node_modules' } },
}
