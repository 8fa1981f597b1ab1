export { lowFilament_s } from './filaments.js'
export { ohmWords } from './hookup.js'
export { open_ohm } from './hookup-tests.js'
export { isCurrentRead } from './rails.js'
export type * from './types.js'
export { reformCodes } from './reform-types.js'
export {
  debounce,
  isRuleCode,
  looserRules,
  ruleCodes,
  settled,
  standardRules,
  type RuleCode,
} from './rules.js'
export { channelPlan } from './channel-plan.js'
export { biasHangsOn } from './dead-man.js'
export { planHead, promptTimeout_s, stepOf } from './head.js'
export { makePlan } from './make.js'
export { failedChannel } from './supplies.js'
export type { Made, PlanOptions } from './made.js'
export { seriesLamp } from './own-mains-wires.js'
export { hotCheck, hotCheck_A } from './own-mains-leak.js'
export { stepNumbered } from './numbered.js'
export { driveAsked } from './drive.js'
export { healthyLeast_A, leadOn_A, openLead_A, openLeadMost_A } from './open-lead.js'
export { endsAtOnce, fitAsked, liftAsked, mustBeRead } from './lift.js'
export { isHotRole, offPlanOf } from './off.js'
export { type EarlierReading, voltsOf, withLearned } from './learned.js'
export { planText } from './text.js'
export {
  isStepJudged,
  isStepLowered,
  seesAt,
  signsShown,
  toldBeforeSteps,
  toldBehindSteps,
  type ToldPart,
  type ToldSection,
  toldOfCharts,
  toldOfOff,
} from './told.js'
export { layerSteps, timedSteps, unattendedPlan } from './unattended.js'
export { cutOffPlan, guardPlans, inputRules } from './watch.js'
export { staleAfter_s, staleWhileOn_s } from './stale.js'
