"""Sentences about the wiring's field that stand wherever it is shown."""

from __future__ import annotations

STATEMENT = (
    "Electrostatics of the wiring that you entered; error of the method 2 %. Whether the walls "
    "conduct, where cables run and what is plugged in change the volts a metre by a factor of 2 "
    "to 10, and wiring that you did not enter is missing. Sure: which entered run matters, that a "
    "run behind a closed bonded coating falls to a thirtieth or less, that an unbonded coating "
    "stands at tens of volts. A potential-free meter, circuit by circuit, decides."
)
CAUTIONS = (
    "Work on wiring only when it is dead and proved dead, by a licensed electrician, under the "
    "local code.",
    "Residual-current (ground-fault) protection on every circuit behind or beside a coating: a "
    "fault through a coating may be too small to trip a breaker.",
)
BOND = (
    "Bond: by a licensed electrician, the circuit dead and proved dead, to the protective earth, "
    "which is verified first; one bond for each connected coating; never to neutral, pipes or a "
    "separate rod; the local code decides on its size. A nail or screw that meets a cable makes a "
    "coating live: bonded and behind residual-current protection it trips, floating it never trips "
    "anything."
)
BOND_SHORT = "by a licensed electrician, dead and proved dead, under the local code."
STRIP = (
    "Strip: find and mark the cable first; no nail or screw through it; bond each island. A strip "
    "acts only on the run that it covers (widths of 23 to 30 cm are common practice, no source)."
)
FLOATING = (
    "A coating without a bond is never proposed: a fault can make it live, and nothing would trip; "
    "a slab or a wall that touches it is no bond."
)
BODY = (
    "Body voltage is a check with a weakness: a meter of 10 MΩ shows about a fifth of the open "
    "voltage, and it ranks plans differently from the field."
)
MAGNETIC = (
    "Magnetic fields of meters, boards and transformers are not computed: coating does not stop "
    "them, distance does."
)
REFERENCE = (
    "For scale, not as a goal: the public reference level of ICNIRP 2010 is 5000 V/m at 50 Hz "
    "and 4167 V/m at 60 Hz, far above all of this."
)
BOND_CURRENT = "A bond carries microamperes: a check by meter that it is connected."
LEAF = (
    "What lies on the leaf of a window or door floats unless somebody connects it on purpose: keep "
    "it clear of cables, and earth nothing there that hands touch without an electrician."
)
NOT_DECIDED = "not decided: measure"

WALL_WORDS = {
    "no": "walls insulate",
    "earthed": "walls conduct, earthed",
    "isolated": "walls conduct, not earthed",
    "unknown": "walls unknown",
}
