"""Write files atomically, so that a reader sees the old or the new one, and find the samples."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from envelope.errors import EnvelopeError


def sample_jobs() -> list[Path]:
    """The sample jobs: data of the installed package, or `models` beside it in a checkout."""
    here = Path(__file__).parent
    folder = here / "samples"
    return sorted((folder if folder.is_dir() else here.parent / "models").glob("*.toml"))


def require_writable(path: Path) -> None:
    """Refuse a file that could not be written, before anything is computed for it.

    Raises
    ------
    EnvelopeError
        Where the folder is missing or cannot be written to.
    """
    try:
        if path.is_dir():
            raise EnvelopeError(f"{path}: is a folder; the name of a file is needed")
        folder = path.resolve().parent
        if not folder.is_dir():
            what = "is no folder" if folder.exists() else "there is no such folder: make it first"
            raise EnvelopeError(f"{path}: cannot be written: {path.parent}: {what}")
        if not os.access(folder, os.W_OK | os.X_OK):
            raise EnvelopeError(f"{path}: cannot be written: {path.parent} allows no new files")
    except RuntimeError:
        raise EnvelopeError(f"{path}: cannot be written: its links lead in a circle") from None
    except ValueError:  # a NUL
        raise EnvelopeError(f"{path}: this cannot be the name of a file") from None
    except OSError as error:
        raise EnvelopeError(f"{path}: cannot be written: {error.strerror}") from None


def write_atomically(path: Path, content: bytes) -> None:
    """Write through a temporary file in the same folder, keeping an existing file's mode.

    Raises
    ------
    EnvelopeError
        Where the folder is missing or cannot be written to.
    """
    require_writable(path)
    target = path.resolve()  # a link stays a link
    try:
        mode = target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask()
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            os.chmod(name, mode)
            os.replace(name, target)
        except BaseException:
            with contextlib.suppress(FileNotFoundError):
                os.unlink(name)
            raise
    except OSError as error:
        raise EnvelopeError(f"{path}: cannot be written: {error.strerror}") from error


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
