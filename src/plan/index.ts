export type * from './types.js'
export {
  debounce,
  isRuleCode,
  looserRules,
  ruleCodes,
  settled,
  staleAfter_s,
  standardRules,
  type RuleCode,
} from './rules.js'
