import type { LineFault } from '../exchange/index.js'

/** What a fault of a line means and what to do about it; empty where another of them says it. */
const advice: Readonly<Record<LineFault, string>> = {
  no_reply:
    'It says nothing: look at its mains, its plug and its cable, and whether its interface is switched on at this speed.',
  late_reply:
    'Its replies come after their time: give it more in the bench file (reply, slow), or look at the adapter.',
  stale_reply:
    'Its replies come after their time: give it more in the bench file (reply, slow), or look at the adapter.',
  unasked_reply:
    'Something talks on this line by itself: close every other program that has it open, and switch off what an instrument reports unasked.',
  unparsable:
    'It answers in other words than its dialect says: compare the dialect of the bench file with its manual; where that is right the line garbles.',
  out_of_range:
    'No such figure can stand here: its read-back is broken, or max_V and max_A of the bench file are not its own.',
  line_noise:
    'No instrument sends such bytes: compare its speed, parity and stop bits, press its plugs home, keep the cable short and away from the set.',
  overlong_line:
    'Nothing on this line comes to an end: compare its speed and its reply_terminator, and look what else talks on it.',
  echo: 'It sends back what it is told: switch the echo off at the instrument or at its adapter.',
  supply_error: '',
  read_back_differs:
    'It does not hold what it is told: see whether somebody has its panel, and whether its digits and resolution in the bench file are its own.',
  identity_changed:
    'Look where the plug of this line sits: the instrument that was being run may hear nothing from here any more, so switch it off at its mains.',
  write_failed:
    'The line takes nothing: its adapter stands still, or flow_control: RTS CTS is in the bench file and nothing drives CTS.',
  connection_lost: 'Its connection went: look at the plug of its adapter or of its network cable.',
  asked_again: '',
  resynchronised: '',
  reopened: '',
  given_up: '',
}

/** `why`, with what it means. */
export function advised(why: string, fault: LineFault | null): string {
  const more = fault === null ? '' : advice[fault]
  return more === '' ? why : `${why}. ${more}`
}

/** What an error number of SCPI-1999 means at the bench, where its text does not say it. */
const numbers: Readonly<Record<number, string>> = {
  [-201]: 'somebody has its panel, or it wants a word before it can be set (remote, in its dialect)',
  [-113]: 'it does not know these words: its dialect in the bench file is not its own',
  [-221]: 'another of its settings stands in the way: a protection level, or its dead-man',
  [-222]: 'beyond what it can be set to: compare max_V and max_A of the bench file',
}
export const meaningOf = (code: number): string => (numbers[code] === undefined ? '' : `: ${numbers[code]}`)
