import type { Command } from 'commander'
import type { Io } from '../io.js'

/** A command registers itself; its action sets `process.exitCode` (exits.ts). */
export type Register = (program: Command, io: Io) => void

/** By name, in the order in which help tells them. A command loads what it needs itself, and nothing that only others need. */
export const commands: Readonly<Record<string, () => Promise<Register>>> = {
  new: async () => (await import('./new.js')).registerNew,
  check: async () => (await import('./check.js')).registerCheck,
  tube: async () => (await import('./tube.js')).registerTube,
  worksheet: async () => (await import('./worksheet.js')).registerWorksheet,
  book: async () => (await import('./book.js')).registerBook,
  proof: async () => (await import('./proof.js')).registerProof,
  'record-sheet': async () => (await import('./record-sheet.js')).registerRecordSheet,
  plan: async () => (await import('./plan.js')).registerPlan,
  coverage: async () => (await import('./coverage.js')).registerCoverage,
  rehearse: async () => (await import('./rehearse.js')).registerRehearse,
  runs: async () => (await import('./runs.js')).registerRuns,
  show: async () => (await import('./show.js')).registerShow,
  compare: async () => (await import('./compare.js')).registerCompare,
  trend: async () => (await import('./trend.js')).registerTrend,
  diagnose: async () => (await import('./diagnose.js')).registerDiagnose,
  replay: async () => (await import('./replay.js')).registerReplay,
  export: async () => (await import('./export.js')).registerExport,
  report: async () => (await import('./report.js')).registerReport,
  rf: async () => (await import('./rf.js')).registerRf,
  aerial: async () => (await import('./aerial.js')).registerAerial,
  'virtual-bench': async () => (await import('./virtual-bench.js')).registerVirtualBench,
  serve: async () => (await import('./serve.js')).registerServe,
  run: async () => (await import('./run.js')).registerRun,
  qualify: async () => (await import('./qualify.js')).registerQualify,
  'safe-off': async () => (await import('./safe-off.js')).registerSafeOff,
  supplies: async () => (await import('./supplies.js')).registerSupplies,
}
