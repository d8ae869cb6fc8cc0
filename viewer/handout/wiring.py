"""The hand-out's paragraph on the wiring's electric field, and its map."""

from __future__ import annotations

from envelope.building.job import AS_BUILT
from envelope.text import field_strength
from envelope.wiring import words
from envelope.wiring.results import FieldAt, Span, WiringResults
from viewer.handout.inline import data_address
from viewer.handout.words import name, text

_MATTERS = 0.8  # of today's field: what leaves more is not worth a sentence


def wiring_section(results: WiringResults, *, plan: str, picture: bytes | None = None) -> str:
    """A section of the page: one paragraph and the map.

    Parameters
    ----------
    results : WiringResults
    plan : str
        That is told beside today.
    picture : bytes, optional
        PNG of the cables and the maps.
    """
    figure = ""
    if picture is not None:
        figure = (
            "<figure><img alt='Cables of the room, and maps of their electric field' "
            f"src='{data_address(picture)}'></figure>"
        )
    return (
        "<section class='wiring'><h2>The electric field of the house wiring</h2>"
        f"<p>{wiring_words(results, plan=plan)}</p>{figure}</section>"
    )


def wiring_words(results: WiringResults, *, plan: str) -> str:
    """What a client should know of it, as HTML text.

    Parameters
    ----------
    results : WiringResults
    plan : str
        That is told beside today.
    """
    today = results.plans[0].receivers[0]
    sentences = [
        f"The cables behind the walls make an electric field of about {_span(today.field_v_m)} at "
        f"{name(today.receiver)} today, which a field meter can check ({results.frequency_hz:g} "
        "Hz; this has nothing to do with radio).",
        _decisive(today),
    ]
    beside = next((each for each in results.plans if each.plan == plan), None)
    if beside is not None and plan != AS_BUILT:
        sentences.append(f"With {name(plan)} it is about {_span(beside.receivers[0].field_v_m)}.")
        if beside.floats:
            sentences.append(
                "In that plan a coating is not connected to earth yet. It must not stay so: a "
                "fault could make it live, and no breaker would trip."
            )
        elif beside.receivers[0].raised_by is not None:
            sentences.append(
                f"That may be more than today, because {name(beside.receivers[0].raised_by)} "
                "stays live beside the earthed coating."
            )
    if results.unknowns:
        sentences.append(
            f"Not known yet: {text(', '.join(results.unknowns))}; therefore the range. A meter, "
            "circuit by circuit, decides."
        )
    if beside is not None and beside.islands:
        sentences.append(text(words.BOND))
    return " ".join(each for each in sentences if each)


def _decisive(today: FieldAt) -> str:
    """The circuit or device whose absence helps most."""
    best = next(
        (each for each in today.remaining if each.kind != "run" and each.share.high < _MATTERS),
        None,
    )
    if best is None:
        return "No circuit alone decides it."
    does = "unplugged" if best.kind == "device" else "switched off at the board"
    return f"With {name(best.what)} {does}, about {_span(best.field_v_m)} would remain."


def _span(value: Span) -> str:
    return text(field_strength(value.low, value.high))
