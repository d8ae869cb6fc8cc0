"""Triangles of an IFC file's elements, made by the library; what it cannot make, one by one.

One malformed attribute stops the library's pass over the file, and drops every element after it:
what is missing then is made by itself, first as it is, then without its openings.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import ModuleType
from typing import Any

import numpy as np

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.records import Note
from envelope.geometry.plane import Floats

MAX_SECONDS = 300.0  # of processor time, from opening the file on
MAX_TRIANGLES = 3_000_000
# What the library raises on a file whose attributes are of the wrong type or missing; it asserts
# what a placement is made of.
MALFORMED = (
    AssertionError, AttributeError, IndexError, KeyError, RuntimeError, TypeError, ValueError,
)  # fmt: skip


@dataclass(slots=True)
class Budget:
    """What reading one file may take in all."""

    path: Path
    started: float = field(default_factory=time.process_time)
    triangles: int = 0

    def spend(self, triangles: int = 0) -> None:
        """Refuse a file that takes more than it may."""
        self.triangles += triangles
        if self.triangles > MAX_TRIANGLES:
            self._refuse(f"has more than {MAX_TRIANGLES} triangles; export less detail")
        if time.process_time() - self.started > MAX_SECONDS:
            self._refuse(
                f"takes more than {MAX_SECONDS:.0f} s of computing; export less detail or fewer "
                "storeys"
            )

    def _refuse(self, message: str) -> None:
        raise ModelFileError([Fault(message=message, location=Location(path=str(self.path)))])


def shapes_of(
    library: ModuleType, file: Any, wanted: Sequence[Any], budget: Budget
) -> tuple[dict[str, Floats], list[Note]]:
    """Triangles (n, 3, 3) of elements by GlobalId, in metres, and which have none.

    Parameters
    ----------
    library : module
        ifcopenshell, with its geometry.
    file : ifcopenshell.file
    wanted : sequence
        Elements that have a representation.
    budget : Budget
    """
    settings = _settings(library)
    library.get_log()  # empties it: what stands in it afterwards belongs to this file
    found: dict[str, Floats] = {}

    def keep(guid: str, geometry: Any) -> None:
        points = np.array(geometry.verts, dtype=np.float64).reshape(-1, 3)
        faces = np.array(geometry.faces, dtype=np.int64).reshape(-1, 3)
        budget.spend(len(faces))
        if len(faces) and np.isfinite(points).all():
            found[guid] = points[faces]

    try:
        iterator = library.geom.iterator(settings, file, 1, include=list(wanted))
        going = bool(wanted) and iterator.initialize()
        while going:
            shape = iterator.get()
            keep(shape.guid, shape.geometry)
            going = iterator.next()
    except MALFORMED:
        pass  # what is missing is made by itself
    notes = []
    for element in wanted:
        if element.GlobalId in found:
            continue
        whole = None
        for openings in (True, False):
            try:
                shape = library.geom.create_shape(_settings(library, openings=openings), element)
                keep(element.GlobalId, shape.geometry)
            except MALFORMED as error:
                whole = whole or str(error)
            if element.GlobalId in found:
                break
        if element.GlobalId not in found and element.is_a() not in ("IfcSite", "IfcSpace"):
            notes.append(
                Note(
                    kind="refused",
                    subject=_name(element),
                    message=f"{element.is_a()} whose geometry cannot be made",
                )
            )
    library.get_log()
    return found, notes


def _settings(library: ModuleType, *, openings: bool = True) -> Any:
    settings = library.geom.settings()
    settings.set("use-world-coords", True)
    settings.set("weld-vertices", True)
    settings.set("reorient-shells", True)
    settings.set("disable-opening-subtractions", not openings)
    return settings


def _name(element: Any) -> str:
    try:
        return str(element.Name or element.GlobalId)
    except MALFORMED:
        return str(element.GlobalId)
