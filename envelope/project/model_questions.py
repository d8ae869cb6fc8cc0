"""What an imported model leaves open: faces that lead nowhere known, the ground, materials."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from envelope.building.job import Job
from envelope.building.questions import Question
from envelope.exchange import NOTHING_FOUND, Imported
from envelope.project.tables import Tables

LISTED = 4  # names in one question
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
        *_left_out(job),
        *_nothing_behind(imported, job),
        *_ground(imported, tables),
        *_materials(imported),
    )
    return tuple(question for question in found if question.id not in accepted)


def _few(names: Sequence[str]) -> str:
    more = f" and {len(names) - LISTED} more" if len(names) > LISTED else ""
    return ", ".join(names[:LISTED]) + more


def _lead(names: Sequence[str]) -> str:
    return "leads" if len(names) == 1 else "lead"


def _left_out(job: Job) -> Iterator[Question]:
    building = job.building
    names = list(
        dict.fromkeys(patch.panel for patch in building.patches if patch.behind == "unmodelled")
    )
    rooms = {receiver.space for receiver in job.receivers}
    names.sort(key=lambda name: building.panel(name).space not in rooms)  # these weigh most
    if names:
        yield Question(
            id="left-out",
            words=f"{_few(names)} {_lead(names)} to a part of the house that is not imported; open "
            "air counts as standing there",
            settle="import the rooms behind too (spaces in [model]), or write [[panel]] with "
            'behind = "earth" where the ground is',
            panels=tuple(names),
        )


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
