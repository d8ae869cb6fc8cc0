"""The one family of errors that users see, and where each was found.

EnvelopeError
├── UnitError          a quantity that cannot be read
├── RangeError         a value outside the range that a formula or a field allows
├── RecordError        a record, or records together, that cannot be: carries every `Fault`
├── UnknownNameError   a name that a job does not have
├── GeometryError      a building that cannot be: carries `Fault`s naming panel, opening, space
├── ProjectFileError   a project file that cannot be used: carries every `Fault` found
├── ModelFileError     a model file that cannot be imported
├── LevelsError        readings from which no level can be solved: carries every `Fault`
├── StaleCastError     a cast used with a building that it was not made for
├── CancelledError     the user stopped a long computation
└── MissingExtraError  an optional library is not installed
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

# Around a length within a message: noncharacters, which Unicode keeps for a program's own use.
_LENGTH = re.compile(
    "\ufdd0(-?(?:\\d[\\d.]*(?:e[-+]?\\d+)?|inf|nan))\ufdd1([^\ufdd0-\ufdd2]*)\ufdd2"
)


def length_text(value_m: float, metric: str | None = None) -> str:
    """A length for a message, marked, so that whoever shows it may say it in another measure.

    Parameters
    ----------
    value_m : float
        The length. [m]
    metric : str, optional
        How it is said in metres; to a tenth of a millimetre if not given.
    """
    said = f"{round(value_m, 4) + 0.0:.12g} m" if metric is None else metric
    return f"\ufdd0{float(value_m)!r}\ufdd1{said}\ufdd2"


def spelt(message: str, *, write: Callable[[float, str], str] | None = None) -> str:
    """A message with its marked lengths spelt out, in metres unless told how.

    `write` takes a length in metres and how it is said in them.
    """

    def said(match: re.Match[str]) -> str:
        return match[2] if write is None else write(float(match[1]), match[2])

    return _LENGTH.sub(said, message)


_TABLE = re.compile(r"([a-z-]+)\[\d+\]\.?(.*)", re.DOTALL)


@dataclass(frozen=True, slots=True, kw_only=True)
class Location:
    """Where in an input file something stands."""

    path: str
    line: int | None = None
    key: str | None = None
    name: str | None = field(default=None, compare=False)  # id of the table that the key is in

    def described(self) -> str:
        """The place with the thing's own id in place of its number, where it has one.

        Examples
        --------
        >>> Location(path="a.toml", line=9, key="receiver[0].at", name="pillow").described()
        'a.toml:9 receiver "pillow", at'
        >>> Location(path="a.toml", line=7, key="cover-test[1].on", name="foil").described()
        'a.toml:7 cover-test "foil", on'
        """
        found = _TABLE.fullmatch(self.key or "")
        if self.name is None or found is None:
            return str(self)
        rest = f", {found[2]}" if found[2] else ""
        return f'{Location(path=self.path, line=self.line)} {found[1]} "{self.name}"{rest}'

    def __str__(self) -> str:
        # A terminal obeys some signs that a name may hold.
        path = "".join(sign if sign.isprintable() else "?" for sign in self.path)
        place = path if self.line is None else f"{path}:{self.line}"
        return place if self.key is None else f"{place} {self.key}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """One thing that is wrong.

    `subject` names what it concerns as (table, id, key), for example
    ``("opening", "W1", "at")``, so that whoever read the file can add the line. Lengths that
    `length_text` marked in the message stay marked in `marked`.
    """

    message: str
    subject: tuple[str, str, str] | None = None
    location: Location | None = field(default=None)
    marked: str = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "marked", self.message)
        object.__setattr__(self, "message", spelt(self.message))

    def described(self) -> str:
        """The fault for people: where it is, by the thing's own id, and what is wrong."""
        if self.location is None:
            return self.message
        return f"{self.location.described()}: {self.message}"

    def __str__(self) -> str:
        return self.message if self.location is None else f"{self.location}: {self.message}"


class EnvelopeError(Exception):
    """Anything that this project refuses to do, said in one sentence."""

    @property
    def marked(self) -> str:
        """The sentence with its lengths still marked."""
        return super().__str__()

    def __str__(self) -> str:
        return spelt(super().__str__())


class UnitError(EnvelopeError, ValueError):
    """A quantity that cannot be read."""


class RangeError(EnvelopeError, ValueError):
    """A value outside the range that a formula or a field allows."""


class FaultsError(EnvelopeError):
    """An error that lists every fault found."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(fault.described() for fault in self.faults))


class RecordError(FaultsError):
    """A record that cannot be, or records that do not go together."""


class UnknownNameError(EnvelopeError, KeyError):
    """A name that a job does not have."""


class GeometryError(FaultsError):
    """A building that cannot be."""


class ProjectFileError(FaultsError):
    """A project file that cannot be used."""


class ModelFileError(FaultsError):
    """A model file that cannot be imported."""


class LevelsError(FaultsError):
    """Readings from which no level can be solved."""


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
