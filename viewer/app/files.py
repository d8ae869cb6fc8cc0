"""What the app keeps beside a job file: a lock while it is open, and edits that are not saved yet.

job.toml   .job.toml.lock (held while open)   .job.toml.unsaved (the text as edited)
"""

from __future__ import annotations

import contextlib
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from envelope.errors import EnvelopeError
from envelope.files import write_atomically

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl


def recovery_path(job: Path) -> Path:
    """Where edits wait that have not been saved."""
    return job.with_name(f".{job.name}.unsaved")


def lock_path(job: Path) -> Path:
    """File that the app which has the job open holds locked; the app's process id stands in it."""
    return job.with_name(f".{job.name}.lock")


@dataclass(frozen=True, slots=True, kw_only=True)
class Recovery:
    """The recovery file of one job: the text as it was edited, which anyone can read."""

    path: Path

    def read(self) -> str | None:
        """Text that waits, if any."""
        try:
            return self.path.read_bytes().decode("utf-8")
        except (FileNotFoundError, UnicodeDecodeError):
            return None
        except OSError as error:
            raise EnvelopeError(f"cannot read {self.path}: {error.strerror}") from None

    def write(self, text: str) -> None:
        """Keep a text until it is saved or dropped."""
        write_atomically(self.path, text.encode("utf-8"))

    def drop(self) -> None:
        """Nothing waits any more."""
        with contextlib.suppress(FileNotFoundError):
            self.path.unlink()


class JobLock:
    """Held by the one app that may change a job; the system drops it when that process ends."""

    def __init__(self, job: Path) -> None:
        self._path = lock_path(job)
        self._file: IO[str] | None = None
        self.holder: int | None = None  # process that has it instead of us

    @property
    def held(self) -> bool:
        """Whether this process has it."""
        return self._file is not None

    def acquire(self) -> bool:
        """Try to get it; where another app has it, `holder` is that app's process id."""
        while self._file is None:
            try:
                file = open(self._path, "a+", encoding="ascii")  # noqa: SIM115 (stays open)
            except OSError:
                # A folder that takes no lock takes no edits either: saving will say so.
                return True
            if not _try_lock(file):
                file.seek(0)
                written = file.read(20).strip()
                self.holder = int(written) if written.isdecimal() else 0
                file.close()
                return False
            if not _is_still(file, self._path):  # its holder removed it as we opened it
                file.close()
                continue
            file.truncate(0)
            file.write(str(os.getpid()))
            file.flush()
            self._file, self.holder = file, None
        return True

    def release(self) -> None:
        """Let others have it."""
        if self._file is None:
            return
        if sys.platform != "win32":  # Windows removes no file that is open
            with contextlib.suppress(FileNotFoundError):
                self._path.unlink()
        self._file.close()
        self._file = None


def _try_lock(file: IO[str]) -> bool:
    try:
        if sys.platform == "win32":
            file.seek(1000)  # past what others may read
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file.fileno(), fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _is_still(file: IO[str], path: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(file.fileno()), os.stat(path))
    except FileNotFoundError:
        return False
