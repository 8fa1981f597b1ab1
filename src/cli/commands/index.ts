import type { Command } from 'commander'
import type { Io } from '../io.js'
import { registerAerial } from './aerial.js'
import { registerCheck } from './check.js'
import { registerCompare } from './compare.js'
import { registerCoverage } from './coverage.js'
import { registerDiagnose } from './diagnose.js'
import { registerExport } from './export.js'
import { registerNew } from './new.js'
import { registerRun } from './run.js'
import { registerQualify } from './qualify.js'
import { registerRehearse } from './rehearse.js'
import { registerReplay } from './replay.js'
import { registerReport } from './report.js'
import { registerRf } from './rf.js'
import { registerPlan } from './plan.js'
import { registerRuns } from './runs.js'
import { registerSafeOff } from './safe-off.js'
import { registerServe } from './serve.js'
import { registerShow } from './show.js'
import { registerSupplies } from './supplies.js'
import { registerTrend } from './trend.js'
import { registerTube } from './tube.js'
import { registerVirtualBench } from './virtual-bench.js'
import { registerBook } from './book.js'
import { registerProof } from './proof.js'
import { registerRecordSheet } from './record-sheet.js'
import { registerWorksheet } from './worksheet.js'

/** A command registers itself; its action sets `process.exitCode` (exits.ts). */
export type Register = (program: Command, io: Io) => void

export const commands: readonly Register[] = [
  registerNew,
  registerCheck,
  registerTube,
  registerWorksheet,
  registerBook,
  registerProof,
  registerRecordSheet,
  registerPlan,
  registerCoverage,
  registerRehearse,
  registerRuns,
  registerShow,
  registerCompare,
  registerTrend,
  registerDiagnose,
  registerReplay,
  registerExport,
  registerReport,
  registerRf,
  registerAerial,
  registerVirtualBench,
  registerServe,
  registerRun,
  registerQualify,
  registerSafeOff,
  registerSupplies,
]
