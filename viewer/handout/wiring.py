"""The hand-out's paragraph on the wiring's electric field, and its map."""

from __future__ import annotations

from collections.abc import Sequence

from viewer.handout.inline import data_address
from viewer.handout.words import text


def wiring_section(sentences: Sequence[str], *, picture: bytes | None = None) -> str:
    """A section of the page: one paragraph and the map.

    Parameters
    ----------
    sentences : sequence of str
        Plain sentences, `envelope.wiring_text.paragraph`.
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
        f"<p>{text(' '.join(sentences))}</p>{figure}</section>"
    )
