"""What settles each finding of an import: choices, each of which makes a line of the project file.

A page cannot edit a file. Its controls build the lines, gathered at its foot under the table that
each belongs to, so that no table is named twice in the file (`review.js`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from envelope.building.library import ASSEMBLIES
from envelope.building.model import OPENING_KINDS
from envelope.exchange import Imported, Note
from envelope.physics.materials import material_names

# Where a choice is written; `tag` is a table of its own at the end of the file.
Into = Literal["model.accept", "model.spaces", "model.materials", "site.grade", "tag"]

KINDS = ("wall", "floor", "ceiling", *OPENING_KINDS)
GROUND = "height of the ground in the model, such as -0.3 m or -1 ft"
_FILLED = {"double-unknown": ("window", "glazing"), "door-assumed": ("door", "door")}


@dataclass(frozen=True, slots=True, kw_only=True)
class Control:
    """One choice: a tick, a list to choose from, or a field to type in."""

    into: Into
    key: str  # what it is about: a panel, a material, a question, a room
    label: str
    shape: Literal["tick", "list", "field"]
    options: tuple[str, ...] = ()
    first: str = ""  # what the page shows, and no line is made for
    sets: str = ""  # the key of a rule that it sets
    by: str = "name"  # the key of a rule that it is about
    own: str = ""  # rooms that are taken already, one a line


def for_question(question_id: str, *, own: Sequence[str], more: Sequence[str]) -> list[Control]:
    """Controls of an open question.

    Parameters
    ----------
    question_id : str
    own, more : sequence of str
        Rooms that are imported, and those to which their faces lead.
    """
    found = []
    if question_id == "left-out":
        found = [
            Control(
                into="model.spaces",
                key=name,
                label=f"import {name} too",
                shape="tick",
                own="\n".join(own),
            )
            for name in more
        ]
    if question_id == "ground":
        found = [Control(into="site.grade", key="grade", label=GROUND, shape="field")]
    accept = Control(
        into="model.accept",
        key=question_id,
        label="what counts meanwhile is right: go on with it",
        shape="tick",
    )
    return [*found, accept]


def for_face(panel_id: str, kind: str) -> list[Control]:
    """Controls of one face: what it is, and what it is made of."""
    return [
        Control(
            into="tag",
            key=panel_id,
            label="is",
            shape="list",
            options=KINDS if kind in KINDS else (kind, *KINDS),
            first=kind,
            sets="becomes",
        ),
        Control(
            into="tag",
            key=panel_id,
            label="made of",
            shape="field",
            options=("assemblies",),
            sets="assembly",
        ),
    ]


def for_material(name: str, read_as: str | None) -> list[Control]:
    """The control of one material of the file."""
    first = read_as or ""
    return [
        Control(
            into="model.materials",
            key=name,
            label="is",
            shape="list",
            options=tuple(dict.fromkeys((first, *sorted(material_names())))),
            first=first,
        )
    ]


def for_note(note: Note, imported: Imported) -> list[Control]:
    """Controls of a note; none where no line of the file settles it, or another place has it."""
    panels = {panel.id: panel for space in imported.spaces for panel in space.panels}
    if note.kind == "gap" and note.subject in panels:
        # rooms that are not imported are asked for by the question
        lead_on = "is not imported" in note.message
        return [] if lead_on else for_face(note.subject, panels[note.subject].kind)
    if note.subject in _FILLED:
        kind, word = _FILLED[note.subject]
        return [
            Control(
                into="tag",
                key=kind,
                label=f"all {kind}s are",
                shape="list",
                options=("", *(name for name in ASSEMBLIES if word in name or _glazed(name, word))),
                sets="assembly",
                by="kind",
            )
        ]
    if note.subject == "ground":
        return [Control(into="site.grade", key="grade", label=GROUND, shape="field")]
    return []


def _glazed(name: str, word: str) -> bool:
    return word == "glazing" and "low-e" in name
