import tseslint from 'typescript-eslint'

const pure = ['quantities', 'chance', 'tubes', 'network', 'equipment', 'bench', 'profile', 'limits', 'plan', 'exchange', 'sequencer', 'line', 'story', 'loop', 'virtual', 'rehearse', 'cautions']

export default tseslint.config(
  { ignores: ['dist/', 'node_modules/', 'coverage/', '.bench/', '.planted-*/', 'tests/fixtures/', '**/*.cjs', '**/*.mjs', 'eslint.config.js', '**/*.generated.ts'] },
  ...tseslint.configs.strictTypeChecked,
  {
    languageOptions: { parserOptions: { project: ['./tsconfig.test.json', './tsconfig.console.json'], tsconfigRootDir: import.meta.dirname } },
    rules: {
      '@typescript-eslint/restrict-template-expressions': ['error', { allowNumber: true, allowBoolean: true }],
      '@typescript-eslint/no-non-null-assertion': 'error',
      '@typescript-eslint/switch-exhaustiveness-check': ['error', { considerDefaultExhaustiveForUnions: true }],
      '@typescript-eslint/no-unnecessary-condition': ['error', { allowConstantLoopConditions: true }],
      '@typescript-eslint/consistent-type-imports': 'error',
    },
  },
  {
    // `**` and Math.pow differ between Node versions; a replay must not. No clocks and no chance in pure rooms.
    files: pure.map((room) => `src/${room}/**/*.ts`),
    rules: {
      'no-restricted-syntax': [
        'error',
        { selector: "BinaryExpression[operator='**']", message: 'Use x*x or Math.exp(x * Math.log(y)): ** differs between Node versions.' },
        { selector: "AssignmentExpression[operator='**=']", message: 'Use multiplication.' },
        { selector: "CallExpression[callee.object.name='Math'][callee.property.name='pow']", message: 'Use Math.exp(x * Math.log(y)).' },
        { selector: "CallExpression[callee.object.name='Math'][callee.property.name='random']", message: 'Pure rooms take a seed.' },
        { selector: "MemberExpression[object.name='Date']", message: 'Pure rooms have no clock.' },
        { selector: "NewExpression[callee.name='Date']", message: 'Pure rooms have no clock.' },
      ],
      'no-restricted-globals': ['error', 'process', 'setTimeout', 'setInterval', 'performance', 'Buffer', 'fetch', 'console'],
    },
  },
  {
    // The serial library's poller is bound to the main loop: in a worker thread a port opens, writes, and hears nothing.
    files: ['src/**/*.ts', 'src/**/*.tsx'],
    rules: {
      'no-restricted-imports': ['error', { name: 'node:worker_threads', message: 'A port in a worker receives nothing: use a process.' }],
    },
  },
  {
    files: ['tests/**/*.ts'],
    rules: { '@typescript-eslint/no-non-null-assertion': 'off', '@typescript-eslint/no-confusing-void-expression': 'off' },
  },
)
