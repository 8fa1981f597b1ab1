import type { StepStory } from '../record/index.js'

/** A stage as a table and a sentence have room for it: why one was filled in stands with the plan. */
export const stageName = (stage: string): string => stage.replace(/ \(filled in: .*\)$/s, '')

export const stageWord = ({ stage, mode }: Pick<StepStory, 'stage' | 'mode'>): string =>
  `${stageName(stage)}, ${mode}`
