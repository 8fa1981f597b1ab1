import {
  createReport,
  formatQuantity,
  own,
  parseQuantity,
  readRough,
  type Path,
  type Problem,
  type Report,
  type Where,
} from '../quantities/index.js'
import { profileShape, type WrittenProfile } from './shape.js'
import type { Profile, ReformOrder, Stage } from './types.js'

/**
 * Reads a profile file: shape element by element first, then what can be judged without the files it names.
 * `value` is null when any problem is an error. Never throws. `checkProfile` judges it together with a set.
 */
export function readProfile(
  raw: unknown,
  where: Where,
): { readonly value: Profile | null; readonly problems: readonly Problem[] } {
  const report = createReport(where)
  const { value: written } = readRough(profileShape, raw, report)
  const profile: Profile = {
    name: written.name ?? '',
    kind: written.kind ?? 'bring-up',
    equipment: written.equipment ?? '',
    bench: written.bench ?? null,
    mode: written.mode ?? null,
    stages: (written.stages ?? []).map((stage, i) => toStage(stage, ['stages', i], report)),
    ceiling_V: written.ceiling ?? {},
    time_budget_s: written.time_budget ?? null,
    prompt_timeout_s: written.prompt_timeout ?? null,
    electrolytics_formed: written.electrolytics_formed ?? null,
    tubes_cold: written.tubes_cold ?? false,
    unattended: written.unattended ?? false,
    reform: written.reform === undefined ? null : toReform(written.reform),
    rules: Object.fromEntries(
      Object.entries(written.rules ?? {}).map(([code, rule]) => [
        code,
        {
          ...(rule.warn !== undefined && { warn: rule.warn }),
          ...(rule.trip !== undefined && { trip: rule.trip }),
          ...(rule.for !== undefined && { for_s: rule.for }),
        },
      ]),
    ),
  }
  checkStages(profile, report)
  const wrong = report.problems.some(({ severity }) => severity === 'error')
  return { value: wrong ? null : profile, problems: report.problems }
}

function toReform(written: NonNullable<WrittenProfile['reform']>): ReformOrder {
  return {
    rail: written.rail,
    target: written.target,
    built_in: written.built_in,
    to_V: written.to ?? null,
    hold_s: written.hold ?? null,
    rest_s: written.rest ?? null,
    heat_W: written.heat ?? null,
    stored_years: written.stored_years ?? null,
    parts: Object.fromEntries(
      Object.entries(written.parts).map(([name, part]) => [
        name,
        {
          of: part.of ?? null,
          joined: part.joined,
          feed_ohm: part.feed,
          feed_error: part.feed_tolerance,
          feed_rated_W: part.feed_rated,
          ...(part.then !== undefined && { then: { ohm: part.then, rated_W: part.then_rated ?? null } }),
          feed_by_hand: part.feed_by_hand ?? null,
          measured:
            part.capacitance === undefined ? null : { F: part.capacitance, error: part.capacitance_error },
        },
      ]),
    ),
  }
}

function toStage(stage: WrittenProfile['stages'][number], at: Path, report: Report): Stage {
  switch (stage.do) {
    case 'hook-up check':
      return { do: stage.do, name: stage.name ?? 'hook-up check' }
    case 'mode':
      return { do: stage.do, name: stage.name ?? `mode ${stage.mode}`, mode: stage.mode }
    case 'ramp':
      return {
        do: stage.do,
        name: stage.name ?? stage.rail,
        rail: stage.rail,
        to_V: typeof stage.to === 'number' ? [stage.to] : stage.to,
        slew_V_per_s: stage.slew ?? null,
        hold_s: stage.hold ?? null,
        settle_within_s: stage.settle_within ?? null,
        ceiling_A: stage.ceiling ?? null,
      }
    case 'tune':
      return {
        do: stage.do,
        name: stage.name ?? `tune ${stage.tube}`,
        tube: stage.tube,
        rail: stage.rail,
        at_V: stage.at,
        turn: stage.turn,
        within_s: stage.within ?? null,
        slew_V_per_s: stage.slew ?? null,
      }
    case 'own mains':
      return {
        do: stage.do,
        name:
          stage.name ??
          (stage.with === 'the set' ? 'own transformer and rectifier' : 'own transformer, nothing on it'),
        with: stage.with,
        hold_s: stage.hold ?? null,
      }
    case 'hold':
      return { do: stage.do, name: stage.name ?? 'hold', for_s: stage.for }
    case 'ask': {
      const { reading } = stage
      const bound = (key: 'low' | 'high'): number | null => {
        const written = reading?.[key]
        if (reading === undefined || written === undefined) return null
        const read = parseQuantity(written, reading.unit)
        if (read.ok) return read.value
        report.error([...at, 'reading', key], read.problem, read.remedy)
        return null
      }
      const low = bound('low')
      const high = bound('high')
      if (low !== null && high !== null && low > high)
        report.error(
          [...at, 'reading', 'low'],
          'the lowest that is right is above the highest',
          'exchange them',
        )
      return {
        do: stage.do,
        name: stage.name ?? 'question',
        text: stage.text,
        reading:
          reading === undefined
            ? null
            : {
                ...{ node: reading.node, unit: reading.unit, low, high },
                ...(reading.panel !== undefined && { panel: reading.panel }),
              },
        ...(stage.turn !== undefined && { turn: stage.turn }),
        ...(stage.watch !== undefined && { watch: stage.watch }),
        timeout_s: stage.timeout ?? null,
        inside: stage.inside,
      }
    }
  }
}

function checkStages(profile: Profile, report: Report): void {
  profile.stages.forEach((stage, i) => {
    if (stage.do !== 'ramp') return
    const ceiling = own(profile.ceiling_V, stage.rail)
    if (ceiling === undefined) return
    stage.to_V.forEach((volts, t) => {
      if (volts > ceiling)
        report.error(
          ['stages', i, 'to', ...(stage.to_V.length > 1 ? [t] : [])],
          `stage ${stage.name} goes to ${formatQuantity(volts, 'V')} on ${stage.rail}, above this profile's ceiling of ${formatQuantity(ceiling, 'V')}`,
          'lower the target, or raise the ceiling knowingly',
        )
    })
  })
  const firstRamp = profile.stages.findIndex((stage) => stage.do === 'ramp' || stage.do === 'tune')
  // Left out altogether, the plan puts it first.
  const check = profile.stages.findIndex((stage) => stage.do === 'hook-up check')
  if (check > firstRamp && firstRamp >= 0)
    report.error(
      ['stages', firstRamp],
      'a rail is raised before the hook-up check',
      'move { do: hook-up check } before the first ramp',
    )
}
