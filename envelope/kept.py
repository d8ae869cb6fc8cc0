"""What was worked out, kept in the user's cache folder so that it need not be worked out again.

A kept file is checked as a whole before anything in it is used:

    12 bytes  length of the text, CRC-32 of all that follows
    text      JSON: records as {"@": class, ...}, arrays as {"#": [type, place, shape]}
    numbers   all arrays one after the other, each at a multiple of 8 bytes

No code is stored and none is run on reading. What cannot be read is as good as not there, and a
folder that is full or shut is no reason to stop. `GAPCAST_CACHE` names another folder; where it is
empty nothing is kept.
"""

from __future__ import annotations

import contextlib
import dataclasses
import json
import os
import struct
import zlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from envelope.errors import EnvelopeError
from envelope.files import write_atomically

VARIABLE = "GAPCAST_CACHE"
_HEAD = "<QI"
_ALIGNED = 8  # bytes


def folder_for(name: str) -> Path | None:
    """Where things of a kind are kept; None where the user wants nothing kept."""
    stated = os.environ.get(VARIABLE)
    if stated is not None:
        return Path(stated) / name if stated else None
    import platformdirs  # only where something is kept

    return Path(platformdirs.user_cache_dir("gapcast", appauthor=False)) / name


@dataclass(frozen=True, slots=True, kw_only=True)
class Store:
    """Files of one folder, by key; those used longest ago go when there are too many."""

    folder: Path | None  # None: nothing is kept
    max_files: int
    max_bytes: int

    def get(self, key: str) -> bytes | None:
        """What was kept under a key, or None."""
        if self.folder is None:
            return None
        path = self.folder / key
        try:
            data = path.read_bytes()
            path.touch()
        except OSError:
            return None
        return data

    def drop(self, key: str) -> None:
        """Forget what was kept under a key: it is of no use."""
        if self.folder is not None:
            with contextlib.suppress(OSError):
                (self.folder / key).unlink()

    def put(self, key: str, data: bytes) -> None:
        """Keep bytes under a key, unless they alone are more than may be kept."""
        if self.folder is None or len(data) > self.max_bytes:
            return
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            write_atomically(self.folder / key, data)
            self._let_go()
        except (OSError, EnvelopeError):
            return

    def _let_go(self) -> None:
        assert self.folder is not None
        listed = []
        for item in self.folder.iterdir():
            with contextlib.suppress(FileNotFoundError):  # another process let it go
                state = item.stat()
                listed.append((state.st_mtime_ns, state.st_size, item))
        total = 0
        for place, (_, size, item) in enumerate(sorted(listed, key=lambda each: -each[0])):
            total += size
            if place >= self.max_files or total > self.max_bytes:
                item.unlink(missing_ok=True)


def to_bytes(value: Any, *, plain: Callable[[Any], Any] | None = None) -> bytes:
    """Records, tuples, mappings, arrays and plain values as bytes.

    Parameters
    ----------
    plain : callable, optional
        Makes plain values of others that occur; None for what it does not know.
    """
    arrays: list[bytes] = []
    place = 0

    def flat(value: Any) -> Any:
        nonlocal place
        if isinstance(value, np.ndarray):
            data = np.ascontiguousarray(value).tobytes()
            data += bytes(-len(data) % _ALIGNED)
            start, place = place, place + len(data)
            arrays.append(data)
            return {"#": [value.dtype.str, start, list(value.shape)]}
        if plain is not None and (found := plain(value)) is not None:
            return found
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            fields = {each.name: flat(getattr(value, each.name))
                      for each in dataclasses.fields(value) if each.init}  # fmt: skip
            return {"@": type(value).__name__, **fields}
        if isinstance(value, tuple | list):
            return [flat(each) for each in value]
        if isinstance(value, Mapping):
            return {"map": [[key, flat(each)] for key, each in value.items()]}
        return value

    text = json.dumps(flat(value)).encode()
    text += b" " * (-(len(text) + struct.calcsize(_HEAD)) % _ALIGNED)
    rest = text + b"".join(arrays)
    return struct.pack(_HEAD, len(text), zlib.crc32(rest)) + rest


def from_bytes(
    data: bytes,
    *,
    records: Mapping[str, type],
    whole: Callable[[Mapping[str, Any]], Any] | None = None,
) -> Any:
    """What `to_bytes` made bytes of, its arrays closed to changes.

    Parameters
    ----------
    records : mapping
        Classes that may occur, by name.
    whole : callable, optional
        Takes back what `plain` made; None for what it does not know.

    Raises
    ------
    ValueError
        Where the bytes are cut short, changed, or of something else.
    """
    start = struct.calcsize(_HEAD)
    if len(data) < start:
        raise ValueError("not whole")
    length, check = struct.unpack_from(_HEAD, data)
    if zlib.crc32(memoryview(data)[start:]) != check:
        raise ValueError("not whole")

    def array(kind: str, place: int, shape: list[int]) -> NDArray[Any]:
        count = int(np.prod(shape, dtype=np.int64))
        offset = start + length + place
        return np.frombuffer(data, dtype=kind, count=count, offset=offset).reshape(shape)

    def back(value: Any) -> Any:
        if isinstance(value, list):
            return tuple(back(each) for each in value)
        if not isinstance(value, dict):
            return value
        if "#" in value:
            return array(*value["#"])
        if "map" in value:
            return {key: back(each) for key, each in value["map"]}
        if "@" in value:
            made = records[value["@"]]
            return made(**{key: back(each) for key, each in value.items() if key != "@"})
        found = None if whole is None else whole(value)
        if found is None:
            raise ValueError("of another kind")
        return found

    try:
        return back(json.loads(data[start : start + length]))
    except (KeyError, TypeError, UnicodeDecodeError) as error:
        raise ValueError("of another kind") from error
