export { receiveProof, type ReceiveReadings } from './receive.js'
export {
  aerialProof,
  type AerialReadings,
  outputStages,
  transmitProof,
  type TransmitReadings,
} from './transmit.js'
export type { Judgement, Proof, ProofVerdict } from './types.js'
