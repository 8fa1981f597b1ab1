import { ownMainsRail } from '../equipment/index.js'
import type { Plan } from '../plan/index.js'

/** A run on the set's own transformer: a person reads a few windows by hand, and no fault is tried against them. */
export const onOwnPack = ({ rails }: Pick<Plan, 'rails'>): boolean => Object.hasOwn(rails, ownMainsRail)
