"""Sentences on solved levels, for people."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from envelope.building.job import Job, Solved, Source
from envelope.survey.responses import Responses

MOST_NAMED = 4  # readings; more are counted only
MOVED_DB = 1.0  # from which a stated level that readings move is worth a note
SHADOW = 0.05  # of a reading indoors that comes straight; below this the solve rests on the rest
# a field outdoors stays below this near any mast that is not on the house itself; common
# practice, no source
STRONGEST_W_M2 = 1.0
FAINT = 0.10  # of a reading that is a source's; one that nowhere has more is solved poorly


def sentence(solved: Solved) -> str:
    """Say how a level was found, and its ranges."""
    if solved.quantity == "level_w_m2":
        what, unit, per = "level outside", "µW/m²", 1e6
    else:
        what, unit, per = "EIRP", "mW", 1e3
    value, low, high, lowest, highest = (
        three_digits(per * each)
        for each in (solved.value, solved.low, solved.high, solved.lowest, solved.highest)
    )
    count, named = len(solved.readings), ", ".join(solved.readings)
    return (
        f"{solved.source}: {what} solved from {count} reading{'s' if count > 1 else ''}"
        f"{f' ({named})' if count <= MOST_NAMED else ''}: {value} {unit}, 10–90 % range "
        f"{low} – {high}; at least 95 times in 100 it lies in {lowest} – {highest}"
    )


def moved_sentence(source: Source) -> str:
    """Say how far readings move a level or an EIRP that the file states."""
    if source.eirp_w is not None:
        what, unit, now = "an EIRP", "mW", 1e3 * source.eirp_w
    else:
        what, unit, now = "a level", "µW/m²", 1e6 * max(source.level_w_m2.values())
    stated = now / 10.0 ** (source.moved_db / 10.0)
    return (
        f"{source.id}: stated with {what} of {three_digits(stated)} {unit} on average; the "
        f"readings make it {three_digits(now)} {unit} ({source.moved_db:+.1f} dB)"
    )


def widened_sentence(effective: float) -> str:
    """Say that readings and file agree so badly that ranges were widened."""
    return (
        "readings and file agree so badly that ranges were widened, to rest on "
        f"{effective:.0f} independent draws: look for a wrong figure, or hunt the fault with "
        "gapcast survey"
    )


def three_digits(value: float) -> str:
    if value == 0.0 or not 1e-3 <= value < 1e6:
        return f"{value:.2g}"
    digits = max(0, 2 - int(np.floor(np.log10(value))))
    return f"{value:,.{digits}f}".replace(",", "\u00a0")


def poor(job: Job, heard: Responses, solved: Solved, rows: Sequence[int], column: int) -> list[str]:
    """List readings in a deep shadow of their source, and sources that no reading shows clearly."""
    notes = []
    shares = []
    for row in rows:
        reading = job.readings[row]
        whole = float(heard.whole[row, column])
        straight = float(heard.direct[row, column]) / whole
        shares.append(solved.value * whole / reading.level_w_m2)
        if straight < SHADOW:
            notes.append(
                f"reading {reading.id} lies in a deep shadow: only {100.0 * straight:.1f} % of "
                f"what it shows of {solved.source} is direct and the rest is diffuse, so the "
                "level is uncertain. Take a reading in line of sight of the source, at a window "
                "or outdoors."
            )
    if solved.quantity == "level_w_m2" and solved.value > STRONGEST_W_M2:
        notes.append(
            f"{solved.value:.2g} W/m² outside is improbable: check the direction of "
            f"{solved.source}, what stands in between, and whether the job lacks an opening"
        )
    if solved.low == 0.0:
        notes.append(
            f"the readings do not show whether {solved.source} is there at all: read where it is "
            "strong and the others are weak"
        )
    elif max(shares) < FAINT:
        notes.append(
            f"{solved.source} is at most {100.0 * max(shares):.0f} % of any reading that names "
            "it, so its level is uncertain: read where the others are weak"
        )
    return notes


def listed(names: Sequence[str]) -> str:
    """Names as a sentence lists them."""
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
