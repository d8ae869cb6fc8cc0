"""What an imported model leaves open: faces that lead nowhere known, the ground, materials."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from envelope.building.job import Job
from envelope.building.questions import Question
from envelope.exchange import NOTHING_FOUND, Imported
from envelope.project.tables import Tables

LISTED = 4  # names in one question
ROOMS = 12  # names of rooms to import: all are needed to close one
MIN_HOLE_M2 = 0.1


def open_questions(imported: Imported, *, tables: Tables, job: Job) -> tuple[Question, ...]:
    """Questions of a job from a model that neither the file nor the project file answers.

    Parameters
    ----------
    imported : Imported
        Rules applied.
    tables : Tables
        Of the project file.
    job : Job
        That came of both.
    """
    accepted = set(tables.model.accept) if tables.model is not None else set()
    found = (
        *_rooms(imported),
        *_left_out(imported, job),
        *_nothing_behind(imported, job),
        *_ground(imported, tables),
        *_materials(imported),
    )
    return tuple(question for question in found if question.id not in accepted)


def _few(names: Sequence[str], *, listed: int = LISTED) -> str:
    more = f" and {len(names) - listed} more" if len(names) > listed else ""
    return ", ".join(names[:listed]) + more


def _lead(names: Sequence[str]) -> str:
    return "leads" if len(names) == 1 else "lead"


def _rooms(imported: Imported) -> Iterator[Question]:
    """Rooms whose shape the file does not give: nobody has said yet that they are so."""
    if imported.worked_out:
        names = [space.id for space in imported.spaces]
        yield Question(
            id="rooms",
            words=f"{_few(names)} {'was' if len(names) == 1 else 'were'} {imported.worked_out}",
            settle="compare length, width and height with the house (gapcast import with --review "
            'draws them) and, where they are right, write accept = ["rooms"] in [model]',
        )


def _left_out(imported: Imported, job: Job) -> Iterator[Question]:
    """Ways out of the receivers' rooms into what is not imported.

    Those out of other rooms stop nothing: they bear on the receiver through a wall more, and to
    import what lies behind them only moves the question on. `check` notes them.
    """
    building = job.building
    rooms = {receiver.space for receiver in job.receivers}
    found = dict.fromkeys(patch.panel for patch in building.patches if patch.behind == "unmodelled")
    names = [name for name in found if not rooms or building.panel(name).space in rooms]
    if names:
        behind = _rooms_behind(imported, names, taken={space.id for space in building.spaces})
        yield Question(
            id="left-out",
            words=f"{_few(names)} {_lead(names)} to a part of the house that is not imported; open "
            "air counts as standing there, which makes levels too high rather than too low",
            settle=f"import {behind} too (spaces in [model]); or write [[panel]] with "
            'behind = "earth" where the ground is; or go on with open air there by '
            'accept = ["left-out"] in [model]',
            panels=tuple(names),
        )


def _rooms_behind(imported: Imported, names: Sequence[str], *, taken: set[str]) -> str:
    """The rooms of the model that these panels lead to, to be imported by name."""
    rooms: set[str] = set()
    for name in names:
        origin = imported.origins.get(name)
        for beyond in () if origin is None else (origin.beyond or "", *origin.others):
            if beyond.startswith("space "):
                rooms.add(beyond.removeprefix("space ").partition(" beyond ")[0])
    rooms -= taken
    return _few(sorted(rooms), listed=ROOMS) if rooms else "the rooms behind"


def _nothing_behind(imported: Imported, job: Job) -> Iterator[Question]:
    building = job.building
    bare = {element.index for element in building.elements if element.assembly == NOTHING_FOUND}
    names = dict.fromkeys(patch.panel for patch in building.patches if patch.element in bare)
    for panel in building.panels:
        origin = imported.origins.get(panel.id)
        if panel.kind != "open" or panel.area_m2 < MIN_HOLE_M2 or origin is None:
            continue
        outward = any(patch.behind == "outdoors" for patch in building.patches_of[panel.id])
        if outward and origin.unexplained:
            names[panel.id] = None
    if names:
        listed = list(names)
        yield Question(
            id="nothing-behind",
            words=f"the model has nothing behind {_few(listed)}; "
            f"{'it counts' if len(listed) == 1 else 'they count'} as stopping nothing",
            settle="say what stands there with [[tag]] (becomes, assembly) or [[panel]] (assembly)",
            panels=tuple(listed),
        )


def _ground(imported: Imported, tables: Tables) -> Iterator[Question]:
    if imported.grade_m is None and "grade" not in tables.site.given():
        yield Question(
            id="ground",
            words="the model does not say where the ground is; 0 m in its own heights counts",
            settle="measure from the lowest floor down to the ground outside and write grade in "
            "[site]",
        )


def _materials(imported: Imported) -> Iterator[Question]:
    names = [use.name for use in imported.materials if use.known is None]
    if names:
        yield Question(
            id="materials",
            words=f"of {_few(names)} nothing is known; air counts, which stops nothing",
            settle="write materials in [model], such as "
            f'materials = {{ "{names[0]}" = "concrete" }}',
        )
