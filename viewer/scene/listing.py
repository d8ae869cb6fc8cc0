"""The order in which lists name the faces of a room, the same on every screen and page."""

from __future__ import annotations

from envelope.exposure.results import PanelLeak, ReceiverResult
from envelope.text.sentences import WORSE_DB


def listed_faces(result: ReceiverResult) -> tuple[PanelLeak, ...]:
    """Faces as lists have them: first what it helps to treat, then by what comes in.

    Treating helps where it lowers the level by half a decibel or more; these come in the order of
    the analysis, what helps most first. Where treating brings less than anybody could tell, what
    counts is where the rest comes in: a gap of 2 % does not stand above a treated wall of 44 %.
    """
    helps = [leak for leak in result.panels if _helps(leak)]
    rest = [leak for leak in result.panels if not _helps(leak)]
    return (*helps, *sorted(rest, key=lambda leak: -leak.share))


def _helps(leak: PanelLeak) -> bool:
    below_db = leak.below_if_treated_db
    return below_db is not None and below_db >= WORSE_DB and leak.treated_with != leak.treatments
