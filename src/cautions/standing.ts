/**
 * The cautions that hold for every run on every bench. Kept once, here; SAFETY.md carries the same text and a test holds
 * the two equal. Written as short paragraphs so that a person reads them.
 */
export const standingText = `THE VOLTAGES INSIDE KILL. A few tens of milliamps through the chest are enough.

Charge stays. Capacitors keep their charge after switch-off, for hours where a bleeder has failed, and a capacitor that was discharged recovers part of its charge by itself. Bleeders fail open, and an open bleeder gives no sign. "Outputs confirmed off" speaks of the supply's terminals; it says nothing of the charge in the set.

Measure before touching. Switch off, unplug, wait, then prove dead: try the meter on a known live source, measure every capacitor and every plate, try the meter on the known source again. Discharge through a resistor first, then with a short, and leave the short in place while you work. A reading of zero through an open lead is also zero.

One hand. Keep the other in your pocket or behind your back, stand on something dry, wear no metal on hands or neck. Reach for nothing inside a set or on a terminal above 60 V.

Nobody alone. Have a second person within call who knows where the mains is cut off and how to give first aid to someone struck by electricity. Cut the power before touching that person.

Nobody else near. During unattended work no person, child or animal may be able to reach a live part: lock the room or the case, and put up a sign. Never leave unattended what the plan does not call unattended.

Fire. Parts that stood for decades can burn without warning. Keep the bench clear, keep a smoke alarm in the room and an extinguisher for electrical fires within reach, and stay in reach of the mains switch. Electrolytic capacitors can burst: keep your face away.

Radio frequency burns, deep and without a shock first, and it exposes people. Key a transmitter only into a dummy load or an aerial that nobody is near, and never touch a tank circuit, a feeder or an aerial terminal that may be driven.

Isolation and earth. A set whose chassis is joined to the mains is worked on only behind an isolating transformer, and that transformer feeds nothing else. A variable transformer does not isolate. Earth the chassis of every other set. The mains pins of a set fed from bench supplies can be live: voltage goes backwards through its own transformer, so leave the mains plug out and covered.

A residual-current device does not protect you on an isolated supply: the current that flows through you between its two poles is the current it expects.

The supply and the mains switch are your last means. Know both before you begin. If software, computer or line fail, outputs can stay energised up to the supply's own current and voltage limits: an emergency switch that cuts the mains of the HT supply, within reach of your free hand, is part of the bench.

The rules where you live come first: local electrical codes and licence conditions, work reserved to qualified persons, and the manual of each supply and meter. Where they say more than this program, they hold.
`
