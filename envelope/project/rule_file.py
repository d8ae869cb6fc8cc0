"""A file of tag rules by itself, so that one set serves many jobs."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import dataclass

from envelope.building.selectors import nearest_names
from envelope.exchange import TagRule
from envelope.project.faults import Faults, whole_file
from envelope.project.load import decode, read_bytes, toml_document
from envelope.project.model import rules_of
from envelope.project.schema import job as schema
from envelope.project.schema.fields import shown
from envelope.project.tables import read_lists
from envelope.project.toml.scan import scan

_ALLOWED = ("tag", "assembly", "material")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RuleFile:
    """Rules, and the text that a project file takes over as it is."""

    text: str
    rules: tuple[TagRule, ...]
    assemblies: tuple[str, ...]  # that it defines
    faults: Faults  # knows the file's lines

    def check(self, known: Iterable[str]) -> None:
        """Refuse rules that name an assembly which neither the file nor `known` has.

        Raises
        ------
        ProjectFileError
            With the line of each.
        """
        names = [*self.assemblies, *known]
        for index, rule in enumerate(self.rules):
            if rule.assembly is not None and rule.assembly not in names:
                hint = nearest_names(rule.assembly, names)
                self.faults.add(
                    ("tag", index, "assembly"),
                    f"there is no assembly {shown(rule.assembly)}: {hint}",
                )
        if self.faults:
            raise self.faults.error()


def read_rules(path: str | os.PathLike[str]) -> RuleFile:
    """Read a TOML file of [[tag]] tables, and of [[assembly]] and [[material]] ones if it likes.

    Raises
    ------
    ProjectFileError
        With every fault found.
    """
    name = os.fspath(path)
    text = decode(read_bytes(path), path=name)
    lines = scan(text)
    if lines.too_deep is not None:
        raise whole_file(name, "tables or lists are nested too deeply", line=lines.too_deep)
    document = toml_document(text, path=name)
    faults = Faults(path=name, lines=lines, document=document)
    for key in document:
        if key not in _ALLOWED:
            faults.add((key,), "a file of rules holds [[tag]], [[assembly]] and [[material]] only")
    if "tag" not in document:
        faults.add(("tag",), "there is no [[tag]]: a file of rules needs at least one")
    allowed = {key: value for key, value in document.items() if key in _ALLOWED}
    entries, ids = read_lists(allowed, faults)
    if faults:
        raise faults.error()
    tags = [(index, tag) for index, tag in entries[schema.Tag] if isinstance(tag, schema.Tag)]
    return RuleFile(
        text=text,
        rules=tuple(rules_of(tags)),
        assemblies=tuple(name for _, name in ids["assembly"]),
        faults=faults,
    )
