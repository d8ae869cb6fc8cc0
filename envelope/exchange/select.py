"""Spaces and storeys asked for by name."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.naming import slug


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What of a building's model is imported, and what the user says of its materials."""

    spaces: Sequence[str] | None = None  # names or ids; all if not given
    storey: str | None = None  # only the spaces of this one
    materials: Mapping[str, str] = field(default_factory=dict)  # name in the file → known material


EVERYTHING = Wanted()


def chosen_storey(*, wanted: str, known: Sequence[str], source: str) -> str:
    """Id of the storey that a name, or a number in its name, means.

    Parameters
    ----------
    wanted : str
    known : sequence of str
        Ids of the storeys that have spaces.
    source : str
        Name of the file, for the error.
    """
    by_name = {id.casefold(): id for id in known}
    name = wanted.casefold().strip()
    found = by_name.get(name) or by_name.get(slug(name, otherwise=""))
    numbered = [id for id in known if name in id.casefold().split("-")]
    if found is None and len(numbered) == 1:
        found = numbered[0]
    if found is None:
        message = f"there is no storey {wanted!r} with spaces; there are {', '.join(known)}"
        raise ModelFileError([Fault(message=message, location=Location(path=source))])
    return found


def chosen_ids(
    *, wanted: Sequence[str], known: Mapping[str, Sequence[str]], source: str
) -> list[str]:
    """Ids of the spaces asked for by id or name; an error gives the nearest names."""
    by_name: dict[str, list[str]] = {}
    for key, names in known.items():
        for name in dict.fromkeys((key, *names)):
            by_name.setdefault(name.casefold(), []).append(key)
    # Ids are names without marks: a name is found with them, and however it was spaced.
    by_slug: dict[str, list[str]] = {}
    for name, keys in by_name.items():
        listed = by_slug.setdefault(slug(name), [])
        listed.extend(key for key in keys if key not in listed)
    found: list[str] = []
    faults: list[Fault] = []
    for name in wanted:
        hits = by_name.get(name.casefold()) or by_slug.get(slug(name), [])
        if len(hits) == 1:
            found.append(hits[0])
            continue
        if hits:
            message = f"{name!r} names {len(hits)} spaces: {', '.join(hits)}; say which"
        else:
            near = difflib.get_close_matches(name.casefold(), list(by_name), n=6, cutoff=0.4)
            # a space may be near by its id and by its name, and is told once
            options = list(dict.fromkeys(by_name[item][0] for item in near)) or list(known)[:8]
            message = f"there is no space {name!r}; the nearest names are {', '.join(options[:3])}"
        faults.append(Fault(message=message, location=Location(path=source)))
    if faults:
        raise ModelFileError(faults)
    return list(dict.fromkeys(found))
