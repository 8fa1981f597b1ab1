/** The other end has answered that it will never take this: trying again is no use. */
export class Refused extends Error {}
