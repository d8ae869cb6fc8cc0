"""In which measure a project file writes its lengths, and lengths answered in the same."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from envelope.errors import spelt
from envelope.project.toml.scan import Path
from envelope.text.lengths import format_feet_inches, format_point

# Keys whose values are lengths, in a table of any kind.
_KEYS = frozenset(
    (
        *("size", "walk", "footprint", "origin", "height", "at", "sill", "floor", "reveal"),
        *("undercut", "ring", "seams", "film-edge", "tilt", "grade", "reach", "hollow"),
        *("ridge", "through", "flat", "over", "thickness", "standoff", "path", "depth", "width"),
    )
)
_TABLES = ("site", "storey", "space", "dormer", "obstacle", "opening", "receiver")
_FEET = re.compile(r"[\d\s½¼¾⅛⅜⅝⅞⅓⅔](?:ft|foot|feet|in|inch|inches)\b|['\"‘′’ʹ″”“ʺ]", re.IGNORECASE)
_METRES = re.compile(r"[\d\s](?:[cmkuµ]?m|met(?:re|er)s?)\b", re.IGNORECASE)
_NOTHING = re.compile(r"[\s,0.]*[^\W\d]*")  # "0 m" is what people write who think in feet, too
_LEAST_M = 0.0254 / 32  # shorter lengths are no sixteenth of an inch


def written_in_feet(text: object) -> bool | None:
    """Whether lengths are written in feet and inches; None where nothing is said.

    Examples
    --------
    >>> written_in_feet("12'4\\""), written_in_feet("3.6 m"), written_in_feet("12")
    (True, False, None)
    """
    if isinstance(text, list | tuple):
        return next((said for each in text if (said := written_in_feet(each)) is not None), None)
    if not isinstance(text, str):
        return None
    if _NOTHING.fullmatch(text) is not None:
        return None
    if _FEET.search(text) is not None:
        return True
    return False if _METRES.search(text) is not None else None


class Measures:
    """In which measure to answer about a key of a document: its own, its table's, the file's."""

    def __init__(self, document: Mapping[str, Any]) -> None:
        self._document = document
        rows: list[object] = []
        for name in _TABLES:
            listed = document.get(name, ())
            rows += listed if isinstance(listed, list) else [listed]
        said = [_majority(row) for row in rows if isinstance(row, dict)]
        self._file = said.count(True) > said.count(False)

    def feet(self, path: Path) -> bool:
        """Whether to answer in feet and inches at a key."""
        at: object = self._document
        tables: list[dict[str, Any]] = []
        for part in path:
            try:
                at = at[part]  # type: ignore[index]
            except (LookupError, TypeError):
                break
            if isinstance(at, dict):
                tables.append(at)
        else:
            if path and path[-1] in _KEYS and (said := written_in_feet(at)) is not None:
                return said
        for table in reversed(tables):
            said = _majority(table)
            if said is not None:
                return said
        return self._file


def _majority(table: Mapping[str, Any]) -> bool | None:
    """In which measure most lengths of a table are written, None where none is."""
    said = [written_in_feet(value) for key, value in table.items() if key in _KEYS]
    feet, metres = said.count(True), said.count(False)
    return None if feet == metres == 0 else feet > metres


def in_measure(message: str, *, feet: bool) -> str:
    """A message whose lengths are marked (`errors.length_text`), spelt in one measure.

    Examples
    --------
    >>> from envelope.errors import length_text
    >>> in_measure(f"ends at {length_text(4.4196)}", feet=True)
    'ends at 14 ft 6 in (4.4196 m)'
    """
    return spelt(message, write=_in_feet) if feet else spelt(message)


def _in_feet(value_m: float, metric: str) -> str:
    """Feet and inches, and what was said in metres, which tells lengths apart that round alike."""
    if not math.isfinite(value_m) or 0.0 < abs(value_m) < _LEAST_M:
        return metric
    return f"{format_feet_inches(value_m)} ({metric})"


def point_text(at_m: tuple[float, ...], *, feet: bool) -> str:
    """Coordinates as a project file writes them: to a tenth of a millimetre or a sixteenth inch.

    Examples
    --------
    >>> point_text((0.6096, 1.25, 0.7), feet=True), point_text((0.6, 1.25, 0.7), feet=False)
    ('2 ft, 4 ft 1 3/16 in, 2 ft 3 9/16 in', '0.6, 1.25, 0.7 m')
    """
    if feet:
        return ", ".join(format_feet_inches(value) for value in at_m)
    return format_point(at_m)
