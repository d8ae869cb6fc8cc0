"""What was made of a mesh file, kept in the user's cache folder by the file's content.

Every command that opens an imported job reads its model. The key holds what was asked for and the
reader's own source, so that a changed reader reads anew. A glTF file whose buffers lie in other
files is not kept, since those may change by themselves.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from envelope import kept
from envelope.building.model import Panel, Space, Storey
from envelope.exchange.records import Fit, Imported, Note, Offset, PanelOrigin

MAX_FILES = 64
MAX_BYTES = 200_000_000
_RECORDS: Mapping[str, type] = {
    made.__name__: made for made in (Fit, Imported, Note, Offset, Panel, PanelOrigin, Space, Storey)
}
_WHOLE = (".glb", ".obj", ".stl", ".ply")  # formats that are one file
_JSON = "as JSON"
_READERS = ("exchange/*.py", "exchange/formats/*.py", "exchange/mesh/*.py", "building/*.py",
            "geometry/*.py")  # fmt: skip


def cache_folder() -> Path | None:
    """Where readings are kept; None where the user wants nothing kept."""
    return kept.folder_for("meshes")


def _store() -> kept.Store:
    return kept.Store(folder=cache_folder(), max_files=MAX_FILES, max_bytes=MAX_BYTES)


@cache
def _reader_digest() -> str:
    """Digest of the modules that make spaces of meshes."""
    digest = hashlib.sha256()
    root = Path(__file__).parents[1]
    for pattern in _READERS:
        for path in sorted(root.glob(pattern)):
            digest.update(path.read_bytes())
    return digest.hexdigest()


def key_of(path: Path, asked: Mapping[str, Any]) -> str | None:
    """Name of a reading; None of what is not kept.

    Parameters
    ----------
    path : Path
        Of the model file.
    asked : mapping
        What of it is asked for, and how it is to be read: plain values.
    """
    if path.suffix.lower() not in _WHOLE or cache_folder() is None:
        return None
    try:
        with path.open("rb") as stream:
            content = hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError:
        return None
    whole = json.dumps([content, path.name, _reader_digest(), sorted(asked.items())])
    return hashlib.sha256(whole.encode()).hexdigest()[:32]


def load_import(key: str) -> Imported | None:
    """A reading that was kept, or None."""
    data = _store().get(key)
    if data is None:
        return None
    try:
        found = kept.from_bytes(data, records=_RECORDS)
        if not isinstance(found, Imported):
            raise ValueError("no import")
        return replace(found, tables=json.loads(found.tables[_JSON]))
    except (ValueError, KeyError):
        _store().drop(key)  # cut short, or of another kind
        return None


def keep_import(key: str, imported: Imported) -> None:
    """Keep a reading; without a folder nothing is kept."""

    def plain(value: Any) -> Any:
        return value.item() if isinstance(value, np.generic) else None

    # lists of a job's tables stay lists
    tables = {_JSON: json.dumps(dict(imported.tables))}
    _store().put(key, kept.to_bytes(replace(imported, tables=tables), plain=plain))
