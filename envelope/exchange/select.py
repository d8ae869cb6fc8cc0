"""Spaces asked for by name."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence

from envelope.errors import Fault, Location, ModelFileError
from envelope.exchange.naming import slug


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
