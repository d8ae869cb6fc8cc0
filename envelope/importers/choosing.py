"""Spaces asked for by name."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from envelope.errors import Fault, Location, ModelFileError
from envelope.importers.naming import slug


def chosen_ids(
    *, wanted: Sequence[str], known: Mapping[str, Sequence[str]], source: str
) -> list[str]:
    """Ids of the spaces asked for by id or name; an error gives the nearest names."""
    by_name: dict[str, list[str]] = {}
    for key, names in known.items():
        for name in dict.fromkeys((key, *names)):
            by_name.setdefault(name.casefold(), []).append(key)
    found: list[str] = []
    faults: list[Fault] = []
    for name in wanted:
        hits = by_name.get(name.casefold()) or by_name.get(slug(name), [])
        if len(hits) == 1:
            found.append(hits[0])
            continue
        if hits:
            message = f"{name!r} names {len(hits)} spaces: {', '.join(hits)}; say which"
        else:
            near = difflib.get_close_matches(name.casefold(), list(by_name), n=3, cutoff=0.4)
            options = [by_name[item][0] for item in near] or list(known)[:8]
            message = f"there is no space {name!r}; the nearest names are {', '.join(options)}"
        faults.append(Fault(message=message, location=Location(path=source)))
    if faults:
        raise ModelFileError(faults)
    return list(dict.fromkeys(found))
