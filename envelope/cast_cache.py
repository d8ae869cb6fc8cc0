"""Casts kept from one command to the next: a job whose geometry is the same is not cast again.

A file holds the pieces of one building's casts. Its name is a digest of the geometry and of the
program that casts, and each piece has a key of all that it was cast with, so that a receiver or a
source that was moved is cast and the rest is not. Treatments, plans and frequencies are in neither.
"""

from __future__ import annotations

import hashlib
import platform
import sys
from collections.abc import Callable, Iterator, Mapping, MutableMapping
from dataclasses import fields
from functools import cache
from importlib import metadata
from pathlib import Path

import numpy as np

from envelope.building.job import Job
from envelope.exposure import casts as casting
from envelope.exposure.casts import Casts
from envelope.kept import Store, folder_for, from_bytes, to_bytes
from envelope.rays import DEFAULT, Beam, Chain, Crossings, FinerAngles, Lit, Sampling

MAX_FILES = 64
MAX_BYTES = 500_000_000
UNUSED_BYTES = (
    32_000_000  # of a building's pieces that a command did not need, such as of a bed moved
)
_RECORDS: dict[str, type] = {
    made.__name__: made for made in (Beam, Chain, Crossings, FinerAngles, Lit)
}
_LIBRARIES = ("numpy", "numba", "shapely")
_HERE = Path(__file__).parent


def store() -> Store:
    """Where casts are kept."""
    return Store(folder=folder_for("casts"), max_files=MAX_FILES, max_bytes=MAX_BYTES)


@cache
def program_digest() -> str:
    """Digest of what a cast comes out of besides geometry: our code, libraries, the machine."""
    digest = hashlib.sha256()
    for path in (
        *sorted((_HERE / "building").rglob("*.py")),
        *sorted((_HERE / "geometry").rglob("*.py")),
        *sorted((_HERE / "rays").rglob("*.py")),
        _HERE / "exposure" / "casts.py",
    ):
        digest.update(path.relative_to(_HERE).as_posix().encode() + b"\0" + path.read_bytes())
    for library in _LIBRARIES:
        digest.update(f"{library} {metadata.version(library)}".encode())
    digest.update(f"{sys.version} {platform.machine()}".encode())
    return digest.hexdigest()


def cast_or_recall(
    job: Job,
    *,
    sampling: Sampling = DEFAULT,
    progress: Callable[[float], None] | None = None,
    cancel: Callable[[], bool] | None = None,
    lit: bool = True,
) -> Casts:
    """`cast_job`, but what was cast before and still holds is read in place of being cast.

    Parameters
    ----------
    job, sampling, progress, cancel, lit
        As `cast_job` takes them.
    """
    where = store()
    key = hashlib.sha256(f"{job.building.digest} {program_digest()}".encode()).hexdigest()[:32]
    pieces = _Pieces(_recalled(where, key))
    casts = casting.cast_job(
        job, sampling=sampling, progress=progress, cancel=cancel, lit=lit, kept=pieces
    )
    if pieces.added:
        where.put(key, to_bytes(pieces.worth_keeping()))
    return casts


def _recalled(where: Store, key: str) -> dict[str, object]:
    data = where.get(key)
    if data is None:
        return {}
    try:
        found = from_bytes(data, records=_RECORDS)
    except ValueError:
        where.drop(key)
        return {}
    return found if isinstance(found, dict) else {}


class _Pieces(MutableMapping[str, object]):
    """Pieces by key, and which of them were asked for or added."""

    def __init__(self, recalled: Mapping[str, object]) -> None:
        self._pieces = dict(recalled)
        self._used: dict[str, None] = {}
        self.added = False

    def __getitem__(self, key: str) -> object:
        piece = self._pieces[key]
        self._used[key] = None
        return piece

    def __setitem__(self, key: str, piece: object) -> None:
        self._pieces[key] = piece
        self._used[key] = None
        self.added = True

    def __delitem__(self, key: str) -> None:
        del self._pieces[key]
        self._used.pop(key, None)

    def __iter__(self) -> Iterator[str]:
        return iter(self._pieces)

    def __len__(self) -> int:
        return len(self._pieces)

    def worth_keeping(self) -> dict[str, object]:
        """All that were used, and of the others as many as there is room for, the latest first."""
        chosen = {key: self._pieces[key] for key in self._used}
        room = UNUSED_BYTES
        for key, piece in self._pieces.items():
            if key not in chosen:
                room -= _bytes_of(piece)
                if room < 0:
                    break
                chosen[key] = piece
        return chosen


def _bytes_of(piece: object) -> int:
    total = 0
    for each in fields(piece):  # type: ignore[arg-type]
        value = getattr(piece, each.name)
        if isinstance(value, np.ndarray):
            total += value.nbytes
        elif isinstance(value, FinerAngles):
            total += _bytes_of(value)
    return total
