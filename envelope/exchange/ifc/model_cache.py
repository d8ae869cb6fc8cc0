"""What was read of an IFC file, kept in the user's cache folder by the file's content.

The key holds the reader's own source, so that a changed reader reads anew.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import shapely

from envelope import kept
from envelope.building.model import Storey
from envelope.exchange.ifc.bodies import Body, IfcModel, LayerOf, SpaceBody, Void
from envelope.exchange.ifc.terrain import Grade
from envelope.exchange.records import Note

MAX_FILES = 24
MAX_BYTES = 2_000_000_000
_RECORDS: Mapping[str, type] = {
    made.__name__: made for made in (Body, Grade, IfcModel, LayerOf, Note, SpaceBody, Storey, Void)
}


def cache_folder() -> Path | None:
    """Where readings are kept; None where the user wants nothing kept."""
    return kept.folder_for("models")


def _store() -> kept.Store:
    return kept.Store(folder=cache_folder(), max_files=MAX_FILES, max_bytes=MAX_BYTES)


@cache
def _reader_digest() -> str:
    """Digest of the modules that read IFC files."""
    digest = hashlib.sha256()
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return digest.hexdigest()


def key_of(path: Path, *, spaceless: bool) -> str:
    """Name of a file's reading: of its content and of what reads it."""
    with path.open("rb") as stream:
        content = hashlib.file_digest(stream, "sha256").hexdigest()
    whole = f"{content} {path.name} {spaceless} {_reader_digest()}"
    return hashlib.sha256(whole.encode()).hexdigest()[:32]


def load_model(key: str) -> IfcModel | None:
    """A reading that was kept, or None."""
    data = _store().get(key)
    if data is None:
        return None
    try:
        return from_bytes(data)
    except ValueError:
        _store().drop(key)  # cut short, or of another kind
        return None


def keep_model(key: str, model: IfcModel) -> None:
    """Keep a reading, and let the oldest ones go; without a folder nothing is kept."""
    _store().put(key, to_bytes(model))


def to_bytes(model: IfcModel) -> bytes:
    """A reading as bytes."""

    def plain(value: Any) -> dict[str, str] | None:
        if isinstance(value, shapely.Geometry):
            return {"wkb": shapely.to_wkb(value, hex=True)}
        return None

    return kept.to_bytes(model, plain=plain)


def from_bytes(data: bytes) -> IfcModel:
    """A reading of bytes; ValueError where they are not whole."""

    def whole(value: Mapping[str, Any]) -> shapely.Geometry | None:
        return shapely.from_wkb(value["wkb"]) if "wkb" in value else None

    found = kept.from_bytes(data, records=_RECORDS, whole=whole)
    if not isinstance(found, IfcModel):
        raise ValueError("no model")
    return found
