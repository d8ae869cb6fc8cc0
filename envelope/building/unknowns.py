"""What a job does not state and its figures rest on: what is taken instead, and within which range.

Nothing is set to a flattering default in silence. What is missing is taken at a middle value,
drawn over its range beside the tolerances, listed by how much it moves the result, and asked for.
Ranges are 10–90 %. Common practice, no source, where nothing else is said.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Final

from envelope.building.composition import Assembly, Treatment
from envelope.building.sources import Receiver, Source
from envelope.physics.materials import UNKNOWN_BOARD, canonical_name, is_material
from envelope.physics.tables import duties
from envelope.physics.tables.services import BY_NAME

__all__ = [
    "DIRECTIVITY_DB",
    "FURNISHING_M2",
    "Unknown",
    "duty_range",
    "scattered_range",
    "unknown_products",
]


@dataclass(frozen=True, slots=True, kw_only=True)
class Range3:
    """A middle value with its 10–90 % range, and where values of it end."""

    low: float
    middle: float
    high: float
    least: float
    most: float
    in_ratio: bool = False  # values lie as even in their logarithm as others do in themselves


# Absorption cross-section of what stands in a furnished bedroom. [m²]
FURNISHING_M2: Final = Range3(low=1.0, middle=2.0, high=4.0, least=0.0, most=20.0)
# Share of a mast's level that arrives from everywhere: without and with line of sight, unsaid.
_SCATTERED_SHADOWED: Final = Range3(low=0.05, middle=0.15, high=0.4, least=0.0, most=0.9)
_SCATTERED_IN_SIGHT: Final = Range3(low=0.0, middle=0.03, high=0.1, least=0.0, most=0.5)
_SCATTERED_UNSAID: Final = Range3(low=0.0, middle=0.1, high=0.4, least=0.0, most=0.9)
# Of the antennas of routers, meters and phones: what they radiate in all lies so far below EIRP.
DIRECTIVITY_DB: Final = Range3(low=2.0, middle=3.5, high=5.0, least=0.0, most=8.0)
# Between wood (0) and plywood (1); no coat (0) or one (1), as likely as not.
BETWEEN: Final = Range3(low=0.0, middle=0.5, high=1.0, least=0.0, most=1.0)
COATED: Final = Range3(low=0.0, middle=0.0, high=1.0, least=0.0, most=1.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Unknown:
    """One figure that the job does not state."""

    table: str  # of the project file: "space", "source", "assembly", "treatment"
    id: str
    key: str  # that would state it
    range: Range3
    words: str  # such as "furnishing of bedroom"
    taken: str  # what is taken and drawn, such as "2 m² taken, 1 to 4 m² drawn"
    settle: str  # how to settle it


def scattered_range(line_of_sight: bool | None) -> Range3:
    """Share of a source's level that arrives scattered, by what the source says of its sight."""
    if line_of_sight is None:
        return _SCATTERED_UNSAID
    return _SCATTERED_IN_SIGHT if line_of_sight else _SCATTERED_SHADOWED


def furnishing_unknown(space: str) -> Unknown:
    """Of a room with a receiver."""
    span = FURNISHING_M2
    return Unknown(
        table="space",
        id=space,
        key="furnishing",
        range=span,
        words=f"furnishing of {space}",
        taken="a furnished bedroom is taken, from a sparse to a full one is drawn",
        settle=f"state furnishing: {span.low:g} m2 for a bed and a cupboard, {span.middle:g} m2 "
        f"for a usual bedroom, {span.high:g} m2 with upholstery, curtains and a carpet, 0 m2 bare",
    )


def scattered_unknown(source: str, line_of_sight: bool | None) -> Unknown:
    """Of a source in a direction."""
    span = scattered_range(line_of_sight)
    settle = "state scattered, or read the level with a directional antenna all round outdoors"
    if line_of_sight is None:
        settle = "look from the window: state line-of-sight = true or false; or " + settle
    return Unknown(
        table="source",
        id=source,
        key="scattered",
        range=span,
        words=f"scattered share of {source}",
        taken=f"{span.middle:g} taken, {span.low:g} to {span.high:g} drawn",
        settle=settle,
    )


def directivity_unknown(source: str) -> Unknown:
    """Of a transmitter whose EIRP is stated or solved."""
    span = DIRECTIVITY_DB
    return Unknown(
        table="source",
        id=source,
        key="directivity",
        range=span,
        words=f"directivity of {source}",
        taken=f"{span.middle:g} dB taken, {span.low:g} to {span.high:g} drawn",
        settle="state directivity from the antenna's data sheet (its gain in dBi, if efficient)",
    )


def duty_range(service: str | None) -> Range3:
    """Share of the time that a transmitter sends, by the service that the job says it is of."""
    known = _duty_of(service)
    return Range3(
        low=known.low, middle=known.middle, high=known.high, least=1e-4, most=1.0, in_ratio=True
    )


def _duty_of(service: str | None) -> duties.Duty:
    return duties.ANY if service is None else duties.DUTIES[BY_NAME[service].sender]


def duty_unknown(source: str, service: str | None = None) -> Unknown:
    """Of a transmitter whose EIRP is stated, by the service that it is of."""
    span, kind = duty_range(service), _duty_of(service)
    low, middle, high = (_per_cent(each) for each in (span.low, span.middle, span.high))
    if span.middle == 1.0:
        taken = f"{kind.words} is taken to send all the time, drawn down to {low} of it"
    else:
        taken = f"{kind.words} is taken to send {middle} of the time, {low} to {high} drawn"
    settle = "log it with a meter that shows peak and average, and state duty"
    if service is None:
        settle = "name its service in place of band, or log peak and average and state duty"
    return Unknown(
        table="source",
        id=source,
        key="duty",
        range=span,
        words=f"duty of {source}",
        taken=taken,
        settle=settle,
    )


def _per_cent(share: float) -> str:
    return f"{100.0 * share:.2g} %" if share < 1.0 else "100 %"


def unknown_products(
    assemblies: Iterable[Assembly], treatments: Iterable[Treatment]
) -> Iterator[Unknown]:
    """Boards of an unknown kind, and panes that may be coated."""
    assemblies, treatments = list(assemblies), list(treatments)
    for table, made in (("assembly", assemblies), ("treatment", treatments)):
        for each in made:
            if any(is_unknown_board(layer.material) for layer in each.layers):
                yield Unknown(
                    table=table,
                    id=each.id,
                    key="layers",
                    range=BETWEEN,
                    words="which board it is",
                    taken=f"the board of {_plain(each.id)} drawn between wood and plywood",
                    settle="look at a cut edge or a stamp: write wood, plywood or chipboard",
                )
    panes = [each for each in assemblies if any(layer.perhaps for layer in each.layers)]
    for each in assemblies:
        doubtful = [layer for layer in each.layers if layer.perhaps_material is not None]
        if doubtful:
            pairs = dict.fromkeys((layer.material, layer.perhaps_material) for layer in doubtful)
            yield Unknown(
                table="assembly",
                id=each.id,
                key="layers",
                range=COATED,
                words=f"what {_plain(each.id)} is made of",
                taken="; ".join(f"{one} taken, drawn as {other} as often" for one, other in pairs),
                settle="ask who built it or look at a hole in it: write its material and take "
                "perhaps-material away",
            )
        elif any(layer.perhaps for layer in each.layers):
            yield Unknown(
                table="assembly",
                id=each.id,
                key="layers",
                range=COATED,
                words="whether the panes are coated"
                if len(panes) == 1
                else f"whether the panes of {_plain(each.id)} are coated",
                taken="taken without a coat, drawn with one as often as without",
                settle="shine a small torch at the pane: one reflection of another colour is "
                "a coat; or read the level with the window open and shut",
            )


def _plain(name: str) -> str:
    """An id as words, for pages whose reader never saw the file: “old windows”."""
    return f"“{name.replace('-', ' ').replace('_', ' ')}”"


def is_unknown_board(material: str | None) -> bool:
    """Whether a layer is of the board that nobody has looked at."""
    return (
        material is not None and is_material(material) and canonical_name(material) == UNKNOWN_BOARD
    )


def unstated_spaces(receivers: Iterable[Receiver], stated: Iterable[str]) -> tuple[str, ...]:
    """Spaces with a receiver whose furnishing is not stated, in the file's order."""
    known = set(stated)
    return tuple(dict.fromkeys(each.space for each in receivers if each.space not in known))


def source_unknowns(
    source: Source, *, stated: Iterable[str], service: str | None = None
) -> Iterator[Unknown]:
    """What a source's table leaves open.

    Parameters
    ----------
    source : Source
        As it was read.
    stated : iterable of str
        Keys that its table has.
    service : str, optional
        Name of the service that it is of.
    """
    given = set(stated)
    if source.position_m is None:
        if "scattered" not in given:
            yield scattered_unknown(source.id, source.line_of_sight)
        return
    if "directivity" not in given:
        yield directivity_unknown(source.id)
    if "eirp" in given and "duty" not in given:
        yield duty_unknown(source.id, service)
