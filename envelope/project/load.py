"""Reading a project file: bytes, text, tables, references, building, job.

    load ── read_bytes ─── read_tables ── check_references ── build ── resolve ── Job
             (text)         (schema)       (ids and names)   (geometry)  (SI records)

Every step notes what it finds in the same `Faults`; a later step runs only where the tables that
it needs are sound, so that each mistake is reported once and all of them together.

Nothing is cast here: `envelope.survey.solve_levels` finds the levels that come from readings.
"""

from __future__ import annotations

import os
import re
import stat
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from envelope.building.ground_reflection import with_ground_partners
from envelope.building.job import Job
from envelope.building.model import Building
from envelope.project.building import build
from envelope.project.faults import Faults, whole_file
from envelope.project.job import resolve
from envelope.project.measurements import check_readings, without_readings
from envelope.project.measures import Measures
from envelope.project.partial_check import Part, check_contents, check_sound_rooms
from envelope.project.references import check_references
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import on_storeys, read_tables, says_wiring
from envelope.project.toml.messages import reason
from envelope.project.toml.scan import scan

if TYPE_CHECKING:
    from envelope.project.model import Modelled

MOST_BYTES = 1_000_000

_TOML_PLACE = re.compile(r"\s*\(at (?:line (\d+), column \d+|end of document)\)\Z")
# Tables without which there is no building.
_GEOMETRY = frozenset(
    (
        *("site", "construction", "storey", "space", "dormer", "obstacle", "opening", "panel"),
        *("model", "tag"),
    )
)


def load(path: str | os.PathLike[str], *, storey_of: Mapping[str, str] | None = None) -> Job:
    """Read a project file.

    Parameters
    ----------
    path : str or path-like
        A TOML file in UTF-8 of at most 1 MB.
    storey_of : mapping, optional
        Spaces to put on another storey than the file says, by id. Readings, which were taken in
        the house as it is drawn, are then left out.

    Returns
    -------
    job : Job
        Sources whose level comes from readings have none yet: see `envelope.solve_levels`.

    Raises
    ------
    ProjectFileError
        With every fault found, each with its line and key.
    """
    name = os.fspath(path)
    return load_text(decode(read_bytes(path), path=name), path=name, storey_of=storey_of)


def load_text(
    text: str,
    *,
    path: str,
    storey_of: Mapping[str, str] | None = None,
    building: Building | None = None,
    folder: str | os.PathLike[str] | None = None,
) -> Job:
    """Read a project from text that is not, or not yet, in the file that `path` names.

    `building` is the one of an earlier text that says the same of site, construction, storeys,
    spaces, dormers, obstacles, openings and panels: it is taken as it is, where only plans or
    receivers have changed. `folder` is where a model file is looked for, that of `path` if not
    given.
    """
    return load_with_model(text, path=path, storey_of=storey_of, building=building, folder=folder)[
        0
    ]


def load_with_model(
    text: str,
    *,
    path: str,
    storey_of: Mapping[str, str] | None = None,
    building: Building | None = None,
    folder: str | os.PathLike[str] | None = None,
) -> tuple[Job, Modelled | None]:
    """Read a project as `load_text` does, with what its model said; None where it has none."""
    if not text.strip():
        raise whole_file(path, 'the file is empty: a project file begins with "format = 1"')
    lines = scan(text)
    if lines.too_deep is not None:
        raise whole_file(path, "tables or lists are nested too deeply", line=lines.too_deep)
    document = toml_document(text, path=path)
    faults = Faults(path=path, lines=lines, document=document)
    _check_format(document, faults)
    tables = read_tables(document, faults)
    modelled: Modelled | None = None
    if "model" in document:
        from envelope.project.model import named, read_modelled

        where = os.path.dirname(path) if folder is None else os.fspath(folder)
        modelled = read_modelled(tables, folder=where, faults=faults, storey_of=storey_of or {})
        if modelled is None:  # what names its spaces cannot be judged
            raise faults.error()
        tables = named(tables, modelled)
    if storey_of:
        tables = on_storeys(tables, storey_of, faults)
    check_references(tables, document, faults)
    from envelope.project.beside import with_places  # brings shapely

    tables = with_places(tables, faults)
    check_readings(tables, faults)
    if storey_of:  # readings were taken in the house as it is drawn
        tables = without_readings(tables)
    if faults.tables & _GEOMETRY:
        building = None
        if modelled is None:
            check_sound_rooms(tables, document, faults)
    if building is None and modelled is not None:
        building = modelled.build(tables, faults)
    elif building is None and not faults.tables & _GEOMETRY:
        building, spaces = build(tables, faults)
        if building is None:
            check_contents(Part(tables=tables), spaces, faults)
    brought = None if modelled is None else modelled.imported.assemblies
    job = resolve(tables, building, faults, brought=brought)
    if job is not None and not faults and says_wiring(tables):
        from envelope.project.wiring import with_wiring  # brings shapely and scipy

        job = with_wiring(job, tables, faults)
    if job is None or faults:
        raise faults.error()
    if modelled is not None:
        from envelope.project.model_questions import open_questions

        asked = open_questions(modelled.imported, tables=tables, job=job)
        job = replace(job, notes=(*job.notes, *modelled.notes), questions=asked)
    job = replace(job, feet=Measures(document).feet(()), places=faults.places(tables.ids))
    return with_ground_partners(job), modelled


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Bytes of a project file; ProjectFileError where it cannot be one."""
    name = os.fspath(path)
    try:
        found = os.stat(name)
        if stat.S_ISDIR(found.st_mode):
            raise whole_file(name, "this is a folder: give the project file in it")
        if not stat.S_ISREG(found.st_mode):
            raise whole_file(name, "this is not a file: give a project file")
        if found.st_size > MOST_BYTES:
            raise whole_file(
                name,
                f"the file has {found.st_size / 1e6:.1f} MB: a project file has at most "
                f"{MOST_BYTES / 1e6:g} MB",
            )
        with open(name, "rb") as file:
            return file.read(MOST_BYTES)
    except FileNotFoundError:
        raise whole_file(name, "there is no such file: check its name and folder") from None
    except OSError as error:
        reason = (error.strerror or "it cannot be opened").lower()
        raise whole_file(name, f"the file cannot be read: {reason}") from None
    except ValueError:  # a NUL in the name
        raise whole_file(shown(name), "this cannot be the name of a file") from None


def decode(data: bytes, *, path: str) -> str:
    """Text of a project file's bytes."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise whole_file(
            path,
            f"the file is not UTF-8 text: byte 0x{data[error.start]:02x} is no character; "
            "save it as UTF-8",
            line=data.count(b"\n", 0, error.start) + 1,
        ) from None


def toml_document(text: str, *, path: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        message = str(error)
        place = _TOML_PLACE.search(message)
        line = None
        if place is not None:
            message = message[: place.start()]
            line = int(place[1]) if place[1] else text.count("\n") + 1
        said = reason(message, "" if line is None else text.split("\n")[line - 1])
        raise whole_file(path, f"this is not TOML: {said}", line=line) from None
    except (ValueError, RecursionError):  # a number of thousands of digits; nesting
        raise whole_file(path, "this is not TOML that can be read: a value is too large") from None


def _check_format(document: Mapping[str, Any], faults: Faults) -> None:
    """Report a newer format by itself: what else looks wrong may be right there."""
    stated = document.get("format")
    if isinstance(stated, int) and not isinstance(stated, bool) and stated > schema.FORMAT:
        faults.add(
            ("format",),
            f"format {shown(stated)} is newer than this version reads, which is "
            f"{schema.FORMAT}: update gapcast",
        )
        raise faults.error()
