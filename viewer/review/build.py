"""The review page of an import: one HTML file that asks the network for nothing.

Each finding has its control; what is chosen becomes the lines of the project file at the page's
foot. Without scripts the lines stand beside the findings.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from envelope.building.job import Job
from envelope.building.library import ASSEMBLIES, TYPICAL
from envelope.errors import MissingExtraError
from envelope.exchange import Imported, Note
from envelope.files import write_atomically
from envelope.project.toml.write import value_of
from envelope.text import area, offset, volume
from viewer.review.controls import for_face, for_material, for_note, for_question
from viewer.review.drawings import KEY, TINTS, cutaway, plan, section
from viewer.web.bundle import inline_hash, own_module

HEADINGS = {
    "refused": "Refused",
    "gap": "Open, or leading nowhere known",
    "unmapped": "Materials that nothing known fits",
    "guessed": "Assumed",
    "repaired": "Repaired",
    "left-out": "Left out",
    "remark": "Remarks",
}
BEHIND = {
    "outdoors": "the outdoors",
    "earth": "earth",
    "unmodelled": "a part that is not imported",
}


def review_html(job: Job, imported: Imported, *, notes: Sequence[Note], feet: bool) -> str:
    """The page of an import.

    Parameters
    ----------
    job : Job
        That the import made.
    imported : Imported
        Rules applied.
    notes : sequence of Note
        On the model, and on the job that it carries.
    feet : bool
        Whether lengths are said in feet and inches.
    """
    building = job.building
    script = own_module("review.js")
    lines_m = None if imported.fit is None else imported.fit.lines_m
    own, more = rooms_beyond(job, imported)
    storeys = [
        storey
        for storey in reversed(building.storeys)
        if any(space.storey == storey.id for space in building.spaces)
    ]
    return str(
        _template().render(
            source=imported.source,
            format=imported.format,
            rooms=len(building.spaces),
            whole=volume(sum(space.volume_m3 for space in building.spaces), feet=feet),
            questions=[
                {
                    "id": each.id,
                    "words": each.words,
                    "settle": each.settle,
                    "line": spaces_line(own, more) if each.id == "left-out" else "",
                    "controls": for_question(each.id, own=own, more=more),
                }
                for each in job.questions
            ],
            key=[(TINTS[name], word) for name, word in KEY],
            sections=[section(building, across=axis, feet=feet) for axis in (0, 1)],
            storeys=[
                {
                    "id": storey.id,
                    "plan": plan(building, storey.id, feet=feet, lines_m=lines_m),
                    "cutaway": cutaway(building, storey.id),
                }
                for storey in storeys
            ],
            spaces=[
                {"id": space.id, "faces": list(_faces(job, imported, space.id, feet=feet))}
                for space in building.spaces
            ],
            materials=[(use, for_material(use.name, use.known)) for use in imported.materials],
            fitted=imported.fit is not None,
            assemblies=sorted({*job.assemblies, *ASSEMBLIES}),
            script=script,
            allowed=inline_hash(script),
            notes=[
                {
                    "heading": heading,
                    "items": [
                        {
                            "text": str(note),
                            "line": line_for(note, imported),
                            "controls": for_note(note, imported),
                        }
                        for note in notes
                        if note.kind == kind
                    ],
                }
                for kind, heading in HEADINGS.items()
                if any(note.kind == kind for note in notes)
            ],
        )
    )


def _faces(job: Job, imported: Imported, space: str, *, feet: bool) -> Iterator[dict[str, Any]]:
    """The faces of a room, the largest first: what they are, what lies behind, who says so."""
    building = job.building
    panels = sorted(building.space(space).panels, key=lambda panel: -panel.area_m2)
    for panel in panels:
        patches = building.patches_of[panel.id]
        behind = dict.fromkeys(
            BEHIND.get(patch.behind)
            or ("another room" if patch.far is None else building.panel(patch.far).space)
            for patch in sorted(patches, key=lambda patch: -patch.area_m2)
        )
        made = dict.fromkeys(
            building.elements[patch.element].assembly or "nothing" for patch in patches
        )
        origin = imported.origins.get(panel.id)
        sure = ", ".join(name for name in (origin.names if origin else ()) if name)[:120]
        off = None if imported.fit is None else imported.fit.offsets.get(panel.id)
        yield {
            "id": panel.id.partition("/")[2],
            "kind": panel.kind,
            "area": area(panel.area_m2, feet=feet),
            "behind": ", ".join(behind),
            "made": ", ".join(made),
            "typical": any(
                name in job.assemblies
                and job.assemblies[name].note.startswith((TYPICAL, "assumed"))
                for name in made
            ),
            "from": sure or (origin.reason if origin else ""),
            "off": "–" if off is None else f"{offset(off.most_m, feet=feet)}",
            "controls": for_face(panel.id, panel.kind),
        }


def rooms_beyond(job: Job, imported: Imported) -> tuple[list[str], list[str]]:
    """Rooms that are imported, and those of the model to which their faces lead."""
    own = [space.id for space in imported.spaces]
    beyond: dict[str, None] = {}
    for panel in job.building.panels:
        origin = imported.origins.get(panel.id)
        leads = () if origin is None else (origin.beyond or "", *origin.others)
        for lead in leads if panel.unmodelled else ():
            if lead.startswith("space "):
                beyond[lead.removeprefix("space ").partition(" beyond ")[0]] = None
    return own, sorted(name for name in beyond if name not in own)


def spaces_line(own: Sequence[str], more: Sequence[str]) -> str:
    """The line that takes the rooms too to which faces lead; nothing where none is left out."""
    listed = ", ".join(value_of(name) for name in (*own, *more))
    return f"[model]\nspaces = [{listed}]" if more else ""


def line_for(note: Note, imported: Imported) -> str:
    """What to write in the project file to settle a note; nothing where no line does."""
    panels = {panel.id for space in imported.spaces for panel in space.panels}
    if note.subject in panels and note.kind == "gap":
        if "is not imported" in note.message:
            return ""  # one line for all of them stands with the question
        on = value_of(note.subject)
        return f'[[tag]]\nname = {on}\nbecomes = "wall"\nassembly = "timber-wall"'
    if note.kind == "unmapped":
        return f'[model]\nmaterials = {{ {value_of(note.subject)} = "concrete" }}'
    names = {use.name for use in imported.materials}
    if note.kind == "guessed" and note.subject in names:
        return f'[model]\nmaterials = {{ {value_of(note.subject)} = "wood" }}'
    kind = {"double-unknown": "window", "door-assumed": "door"}.get(note.subject)
    if kind is not None:
        other = "double-low-e" if kind == "window" else "solid-wood-door"
        return f'[[tag]]\nkind = "{kind}"\nassembly = "{other}"   # if that is what it is'
    if note.subject == "ground":
        return '[site]\ngrade = "-0.3 m"'
    return ""


def write_review(
    path: Path, job: Job, imported: Imported, *, notes: Sequence[Note], feet: bool
) -> None:
    """Write the page, whole or not at all. See `review_html`."""
    write_atomically(path, review_html(job, imported, notes=notes, feet=feet).encode())


@cache
def _template() -> Any:
    try:
        from jinja2 import Environment, PackageLoader, StrictUndefined
    except ImportError:
        raise MissingExtraError(library="Jinja", extra="viewer") from None
    made = Environment(
        loader=PackageLoader("viewer.review", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return made.get_template("page.html.j2")
