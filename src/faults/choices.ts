/*
 * What the ranking takes without a source, of our own choice; what belongs to one place only (the ends of `next.ts`, sizes in
 * `severity.ts` and `signals.ts`) stands there. How the figures of the bench move when
 * one of them is halved or doubled stands in tests/benchmarks/faults/CHOICES.md. Facts (tolerances, accuracies, ratings) come
 * from the set's and the bench's files and are none of these; how often faults come is in `weights.ts`.
 */
export const choices = {
  /** That a set is whole, before anything is measured, whose run went to its end: half of those that come to a bench. */
  wholeRan: 0.5,
  /** And whose run tripped: limits are drawn so that few whole sets trip. */
  wholeTripped: 0.02,
  /** That no fault of the library is the cause: as often as two at once. */
  none: 0.05,
  /** That two of the library are. */
  doubles: 0.05,
  /** Pairs that are reckoned with: of the likeliest faults each with each other. */
  pairs: 60,
  /** Of the faults that trip a run, those that came in its last step: what breaks down does so at volts. */
  cameLast: 0.3,
  /** Of all faults, those that came in some other step of the run: what warms up or was shaken. */
  cameBefore: 0.15,
  /**
   * What no library lists moves readings by this much, on their scale (standard deviations, each as likely): a little, half as
   * much again, several times.
   */
  unknownSmall: 0.1,
  unknownMiddle: 0.3,
  unknownLarge: 1,
  /** And each reading by this part of that beside what faults of this set move together. */
  unknownOdd: 0.1,
  /** Of the places that are read after the run, those at which what no library lists reads as a whole set does. */
  unknownElsewhere: 0.5,
  /** And what it reads at a quarter of the others: anything, from nothing to the end of a meter's range, on its scale. */
  meterRange: 20,
  /** Of volts that a fault moves by their own size, standard deviation of the logarithm: parts of 10 to 20 %. */
  voltsSpread: 0.12,
  /** A current on its way up is caught between what trips and this much more, on its scale: supplies are set to some twice the trip. */
  onItsWay: 0.7,
  /** Degrees of freedom of the likelihood's tails: a reading further out than its tolerance does not decide all alone. */
  tails: 8,
  /**
   * From so many standard deviations on, the reading that is furthest off speaks as a normal one would: tails are for tolerances that
   * are wider than told, and no tolerance makes that. Of true causes one in some twenty misses a reading by 4 and none by 6.
   */
  tailsEnd: 4,
  /** What two readings of one set are taken to have in common, of what few drawn sets say. */
  common: 0.97,
  /** What lies between two severities of a fault, as a part of the step from one to the next. */
  betweenSteps: 0.45,
  /** Faults nearer to one another than this, in standard deviations of healthy sets, cannot be told apart by what is known. */
  apart: 1.2,
  /**
   * What a fault does to the readings must stand out of what healthy sets read by this many standard deviations, else they cannot
   * show it: the usual measure of standing out. At less, odds of seven to one speak for it at best, and no single fault is that likely
   * beforehand. Where what was read speaks by less than those odds, for it or against it, they have neither shown it nor ruled it out.
   */
  standsOut: 2,
  /** What a cause predicts this many standard deviations off what was read is told beside it. */
  missed: 3,
  /**
   * Where nothing shows with this much, a next reading is told as one for a set that fails all the same, and is chosen among all
   * faults that are not ruled out: what is told there is no likelier than they are. Every cause that is told
   * gets its reading, however unlikely; where none is, nobody is sent to the set who does not say that it fails: what cannot show is for
   * the checks by hand.
   */
  settled: 0.99,
  /** A cold reading is taken where it parts the causes nearly as well: nothing has to be energised for it. */
  coldEnough: 0.7,
  /** A reading that tells less than this, in nats, is not worth going to the set for; one that settles an even pair tells 0.7. */
  worthwhile: 0.02,
  /** What a cold reading spreads by over healthy sets where a next one is looked for, and the least that volts do. */
  coldSpread: 0.13,
  voltsLeast: 0.05,
  /** What the same set reads from run to run, standard deviation of the logarithm; of that, what all readings of one run share. */
  runToRun: 0.05,
  shared: 0.8,
}
