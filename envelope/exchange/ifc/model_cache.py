"""What was read of an IFC file, kept in the user's cache folder by the file's content.

    8 bytes   length of the text that follows
    text      JSON: records as {"@": class, …}, arrays as {"#": [start, shape]}, plans as WKB
    numbers   float64, all arrays one after the other

No code is stored and none is run on reading. The key holds the reader's own source, so that a
changed reader reads anew; what cannot be read is as good as not there.
"""

from __future__ import annotations

import contextlib
import dataclasses
import hashlib
import json
import struct
import zlib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from envelope.building.model import Storey
from envelope.errors import EnvelopeError
from envelope.exchange.ifc.bodies import Body, IfcModel, LayerOf, SpaceBody, Void
from envelope.exchange.ifc.terrain import Grade
from envelope.exchange.records import Note
from envelope.files import write_atomically
from envelope.geometry.plane import Floats

MAX_FILES = 24
MAX_BYTES = 2_000_000_000
_RECORDS: Mapping[str, type] = {
    made.__name__: made for made in (Body, Grade, IfcModel, LayerOf, Note, SpaceBody, Storey, Void)
}


def cache_folder() -> Path | None:
    """Where readings are kept; None where the machine has no such folder."""
    try:
        import platformdirs
    except ImportError:
        return None
    return Path(platformdirs.user_cache_dir("gapcast", appauthor=False)) / "models"


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
    folder = cache_folder()
    if folder is None:
        return None
    path = folder / key
    try:
        data = path.read_bytes()
        found = from_bytes(data)
        path.touch()
    except OSError:
        return None
    except (KeyError, TypeError, ValueError, struct.error):
        with contextlib.suppress(OSError):
            path.unlink()  # cut short, or of another kind
        return None
    return found


def keep_model(key: str, model: IfcModel) -> None:
    """Keep a reading, and let the oldest ones go; without a folder nothing is kept."""
    folder = cache_folder()
    if folder is None:
        return
    try:
        folder.mkdir(parents=True, exist_ok=True)
        write_atomically(folder / key, to_bytes(model))
        listed = sorted(
            ((item.stat().st_mtime, item.stat().st_size, item) for item in folder.iterdir()),
            key=lambda item: -item[0],
        )
        total = 0
        for place, (_, size, item) in enumerate(listed):
            total += size
            if place >= MAX_FILES or total > MAX_BYTES:
                item.unlink()
    except (OSError, EnvelopeError):
        return  # a folder that is full or shut is no reason to stop


def to_bytes(model: IfcModel) -> bytes:
    """A reading as bytes."""
    arrays: list[Floats] = []
    place = 0

    def plain(value: Any) -> Any:
        nonlocal place
        if isinstance(value, np.ndarray):
            start, place = place, place + value.size
            arrays.append(np.ascontiguousarray(value, dtype=np.float64).reshape(-1))
            return {"#": [start, list(value.shape)]}
        if isinstance(value, shapely.Geometry):
            return {"wkb": shapely.to_wkb(value, hex=True)}
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            fields = {item.name: plain(getattr(value, item.name))
                      for item in dataclasses.fields(value) if item.init}  # fmt: skip
            return {"@": type(value).__name__, **fields}
        if isinstance(value, tuple | list):
            return [plain(item) for item in value]
        if isinstance(value, Mapping):
            return {"map": [[key, plain(item)] for key, item in value.items()]}
        return value

    text = json.dumps(plain(model)).encode()
    numbers = np.concatenate([np.zeros(0), *arrays]).tobytes()
    return struct.pack("<QI", len(text), zlib.crc32(text + numbers)) + text + numbers


def from_bytes(data: bytes) -> IfcModel:
    """A reading of bytes; ValueError where they are not whole."""
    length, check = struct.unpack_from("<QI", data)
    start = struct.calcsize("<QI")
    if zlib.crc32(data[start:]) != check:
        raise ValueError("not whole")
    numbers = np.frombuffer(data[start + length :], dtype=np.float64)

    def whole(value: Any) -> Any:
        if isinstance(value, list):
            return tuple(whole(item) for item in value)
        if not isinstance(value, dict):
            return value
        if "#" in value:
            first, shape = value["#"]
            return numbers[first : first + int(np.prod(shape))].reshape(shape)
        if "wkb" in value:
            return shapely.from_wkb(value["wkb"])
        if "map" in value:
            return {key: whole(item) for key, item in value["map"]}
        made = _RECORDS[value["@"]]
        return made(**{key: whole(item) for key, item in value.items() if key != "@"})

    found = whole(json.loads(data[start : start + length]))
    if not isinstance(found, IfcModel):
        raise ValueError("no model")
    return found
