"""The one family of errors that users see, and where each was found.

EnvelopeError
├── UnitError          a quantity that cannot be read
├── RangeError         a value outside the range that a formula or a field allows
├── GeometryError      a building that cannot be: carries `Fault`s naming panel, opening, space
├── ProjectFileError   a project file that cannot be used: carries every `Fault` found
├── ModelFileError     a model file that cannot be imported
├── StaleCastError     a cast used with a building that it was not made for
├── CancelledError     the user stopped a long computation
└── MissingExtraError  an optional library is not installed
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Location:
    """Where in an input file something stands."""

    path: str
    line: int | None = None
    key: str | None = None

    def __str__(self) -> str:
        place = self.path if self.line is None else f"{self.path}:{self.line}"
        return place if self.key is None else f"{place} {self.key}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong.

    `subject` names what it concerns as (table, id, key), for example
    ``("opening", "W1", "at")``, so that whoever read the file can add the line.
    """

    message: str
    subject: tuple[str, str, str] | None = None
    location: Location | None = field(default=None)

    def __str__(self) -> str:
        return self.message if self.location is None else f"{self.location}: {self.message}"


class EnvelopeError(Exception):
    """Anything that this project refuses to do, said in one sentence."""


class UnitError(EnvelopeError, ValueError):
    """A quantity that cannot be read."""


class RangeError(EnvelopeError, ValueError):
    """A value outside the range that a formula or a field allows."""


class FaultsError(EnvelopeError):
    """An error that lists every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class GeometryError(FaultsError):
    """A building that cannot be."""


class ProjectFileError(FaultsError):
    """A project file that cannot be used."""


class ModelFileError(FaultsError):
    """A model file that cannot be imported."""


class StaleCastError(EnvelopeError):
    """A cast used with a building that it was not made for."""


class CancelledError(EnvelopeError):
    """The user stopped a long computation."""


class MissingExtraError(EnvelopeError):
    """An optional library is not installed."""

    def __init__(self, *, library: str, extra: str) -> None:
        super().__init__(
            f"this needs {library}, which is not installed: "
            f'python -m pip install "gapcast[{extra}]"'
        )
