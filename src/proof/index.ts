export { heardAs, receiveProof, type ReceiveReadings } from './receive.js'
export {
  aerialProof,
  type AerialReadings,
  type KeyedRun,
  outputStages,
  transmitProof,
  type TransmitReadings,
} from './transmit.js'
export type { Judgement, Proof, ProofVerdict } from './types.js'
