"""An IFC file read in a process of its own: where the library falls over it, only that one ends.

A malformed file can bring the library down without an error that Python could catch. The child
hands its reading over in the form in which it is kept (`model_cache`), or the faults that it found.
"""

from __future__ import annotations

import importlib.util
import json
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

from envelope.errors import Fault, Location, MissingExtraError, ModelFileError
from envelope.exchange.ifc.bodies import IfcModel
from envelope.exchange.ifc.model_cache import from_bytes

MAX_SECONDS = 1800.0  # of waiting, on however busy a machine
# What the child may work: some files send the library round in a circle. A megabyte with many
# openings takes a minute at most.
LEAST_SECONDS, SECONDS_A_MEGABYTE = 60.0, 60.0
MOST_WORK_SECONDS = 360.0  # after what `shapes.Budget` allows, which says more of a large file
_CHILD = "import sys; from envelope.exchange.ifc.child import read; read(*sys.argv[1:])"
REFUSED = 3  # exit code of a child that wrote faults


def read_apart(path: Path, *, spaceless: bool) -> IfcModel:
    """Read a file in a process of its own.

    Raises
    ------
    MissingExtraError
        Where the library is not installed.
    ModelFileError
        With the faults of the file, or where the library ended on it.
    """
    if importlib.util.find_spec("ifcopenshell") is None:
        raise MissingExtraError(library="ifcopenshell", extra="ifc")
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "model"
        seconds = seconds_for(path)
        command = [
            sys.executable, "-c", _CHILD,
            str(path.resolve()), str(int(spaceless)), str(out), str(seconds),
        ]  # fmt: skip
        environment = {**os.environ, "PYTHONPATH": os.pathsep.join(filter(None, sys.path))}
        try:
            done = subprocess.run(
                command, env=environment, capture_output=True, timeout=MAX_SECONDS, check=False
            )
        except subprocess.TimeoutExpired:
            raise _fault(path, f"takes longer than {MAX_SECONDS / 60:.0f} minutes") from None
        if done.returncode == 0:
            return from_bytes(out.read_bytes())
        if done.returncode == REFUSED:
            raise ModelFileError(
                [
                    Fault(message=message, location=Location(path=str(path)))
                    for message in json.loads(out.read_text())
                ]
            )
        if -done.returncode == getattr(signal, "SIGXCPU", None):
            raise _fault(
                path,
                f"keeps the library that reads IFC busy for more than {seconds:.0f} s, far more "
                "than files of its size take; export it again from the program it comes from",
            )
        raise _fault(
            path,
            f"brings the library that reads IFC down ({_how(done.returncode)}): the file is "
            "damaged; export it again from the program it comes from",
        )


def seconds_for(path: Path) -> float:
    """How long the processor may work on a file. [s]"""
    allowed = LEAST_SECONDS + SECONDS_A_MEGABYTE * path.stat().st_size / 1e6
    return min(allowed, MOST_WORK_SECONDS)


def _how(code: int) -> str:
    if code < 0:
        try:
            return signal.Signals(-code).name
        except ValueError:
            pass
    return f"exit code {code}"


def _fault(path: Path, message: str) -> ModelFileError:
    return ModelFileError([Fault(message=message, location=Location(path=str(path)))])
