import type { NewSet } from '../../service/index.js'
import type { Asks, Question } from '../new/dialogue.js'
import { askAll } from '../new/questions.js'
import { bringUpFile, textsOf } from '../new/texts.js'

/** The answers given so far have come to an end at a question, or the last of them cannot be read. */
class Open extends Error {
  constructor(
    readonly question: Question<unknown>,
    readonly problem: string | null,
  ) {
    super(question.ask)
  }
}

/** The same questions as `slowglow new` asks, put to answers that were given beforehand. */
class Given implements Asks {
  readonly asked: { ask: string; answer: string }[] = []
  readonly told: string[] = []
  private at = 0
  constructor(private readonly answers: readonly string[]) {}

  tell(text: string): void {
    this.told.push(text.trim())
  }

  ask<T>(question: Question<T>): Promise<T> {
    const given = this.answers[this.at]
    if (given === undefined) return Promise.reject(new Open(question, null))
    this.at += 1
    const text = given.trim()
    if (text === '' && question.fallback === null)
      return Promise.reject(new Open(question, 'An answer is needed here.'))
    const answer = question.read(text === '' ? (question.fallback ?? '') : text)
    if (!answer.ok) return Promise.reject(new Open(question, `${answer.problem}: ${answer.remedy}.`))
    this.asked.push({ ask: question.ask.trim(), answer: text === '' ? (question.fallback ?? '') : text })
    return Promise.resolve(answer.value)
  }
}

/** Where these answers lead: to the next question, or to the texts of the files. Writes nothing. */
export async function askedSoFar(answers: readonly string[]): Promise<NewSet> {
  const given = new Given(answers)
  try {
    const all = await askAll(given)
    return { done: true, asked: given.asked, files: { ...textsOf(all) }, bring_up: bringUpFile(all.modes) }
  } catch (error) {
    if (!(error instanceof Open)) throw error
    const { question, problem } = error
    return {
      done: false,
      asked: given.asked,
      next: { ask: question.ask.trim(), fallback: question.fallback },
      problem,
      told: given.told,
    }
  }
}
