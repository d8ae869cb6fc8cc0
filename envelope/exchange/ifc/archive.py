"""IFCZIP: an archive that holds one IFC file."""

from __future__ import annotations

import tempfile
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from envelope.errors import Fault, Location, ModelFileError

# What the archive's reader raises where bits of it are wrong.
BROKEN = (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, OSError, EOFError)
MAX_BYTES = 500_000_000  # unpacked


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])


@contextmanager
def unpacked(path: Path) -> Iterator[Path]:
    """The IFC file itself: of an IFCZIP a copy that is gone afterwards, else the file.

    Raises
    ------
    ModelFileError
        Where the archive is broken, holds not just one IFC file, or unpacks to too much.
    """
    if path.suffix.lower() != ".ifczip":
        yield path
        return
    with tempfile.TemporaryDirectory() as folder:
        plain = Path(folder) / "model.ifc"
        try:
            _unpack(path, plain)
        except BROKEN as error:
            raise _fault(path, f"is no archive that can be unpacked: {error}") from None
        yield plain


def _unpack(path: Path, plain: Path) -> None:
    with zipfile.ZipFile(path) as archive:
        files = [item for item in archive.infolist() if not item.is_dir()]
        found = [item for item in files if item.filename.lower().endswith(".ifc")]
        if len(found) != 1:
            if any(item.filename.lower().endswith(".ifcxml") for item in files):
                raise _fault(path, "holds ifcXML, which is not read: export it as IFC (STEP)")
            raise _fault(path, f"holds {len(found)} files that end in .ifc; one is allowed")
        if found[0].file_size > MAX_BYTES:
            raise _fault(path, f"unpacks to more than {MAX_BYTES / 1e6:.0f} MB")
        left = MAX_BYTES
        with archive.open(found[0]) as stream, plain.open("wb") as out:
            while block := stream.read(1 << 20):
                left -= len(block)
                if left < 0:  # the archive lies about its size
                    raise _fault(path, f"unpacks to more than {MAX_BYTES / 1e6:.0f} MB")
                out.write(block)
