"""The app and a model of others: what is in it, the job made from it, its panels put right.

page ── {"do": "model", …} ──▶ listed ──▶ {"tell": "listing", …}
page ── {"do": "import", …} ──▶ begun ──▶ text of the job file
page ── {"do": "set-kind", …} ──▶ set_kind ──▶ Session (text, undo)
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

from envelope.building.job import Job
from envelope.building.library import ASSEMBLIES
from envelope.building.model import OPENING_KINDS
from envelope.building.selectors import GROUPS
from envelope.errors import EnvelopeError, FaultsError
from envelope.exchange import list_model
from envelope.project import edit_model
from envelope.project.edit import data_of
from envelope.project.edit_model import as_pattern, own_words
from envelope.project.edit_table import set_key
from envelope.project.model import Modelled
from envelope.project.model_job_text import example_treats, middle_of
from envelope.project.new_from_model import begin_job
from envelope.text.names import shown
from viewer.app import protocol
from viewer.app.session import EditError, Session

FORMATS = (".ifc", ".glb", ".gltf", ".obj", ".stl", ".ply")
UNSTATED = (".obj", ".stl", ".ply")  # carry neither a unit nor an axis that points up
UNITS = ("m", "cm", "mm", "ft", "in")
AXES = ("z", "y", "x")
KINDS = ("wall", "floor", "ceiling", *OPENING_KINDS)
MOST_NOTES = 12
_LONGEST = 400  # characters of a message


def choices() -> protocol.ModelChoices:
    """What the start page lets one choose from."""
    return {"units": list(UNITS), "axes": list(AXES), "unstated": list(UNSTATED)}


def trouble(error: EnvelopeError) -> str:
    """What is wrong with a model as one message."""
    if isinstance(error, FaultsError) and error.faults:
        more = len(error.faults) - 1
        rest = f" (and {more} more like this)" if more else ""
        return shown(error.faults[0].message, limit=_LONGEST) + rest
    return shown(str(error), limit=_LONGEST)


def listed(asked: protocol.ListModel, *, folder: Path) -> protocol.ListingTold:
    """Storeys and spaces of a model file.

    Parameters
    ----------
    asked : ListModel
    folder : Path
        That a relative path starts from.

    Raises
    ------
    EnvelopeError
        Where the file cannot be read, or holds nothing to choose.
    """
    model, unit, up = _model(asked, folder)
    listing = list_model(model, unit=unit, up=up)
    floors = {storey.id: storey.floor_m for storey in listing.storeys}
    return {
        "tell": "listing",
        "source": shown(listing.source),
        "format": listing.format,
        "storeys": [{"id": name, "floor_m": floor} for name, floor in floors.items()],
        "spaces": [
            {
                "id": space.id,
                "name": "" if space.name == space.id else shown(space.name),
                "storey": space.storey,
                "area_m2": space.area_m2,
                "volume_m3": space.volume_m3,
                "trouble": shown(space.trouble, limit=_LONGEST),
            }
            for space in listing.spaces
        ],
        "notes": [shown(str(note), limit=_LONGEST) for note in listing.notes[:MOST_NOTES]],
        "more_notes": max(len(listing.notes) - MOST_NOTES, 0),
    }


def begun(asked: protocol.ImportModel, *, folder: Path) -> str:
    """Text of a job file, to be written in `folder`, for the spaces that were chosen.

    Raises
    ------
    EnvelopeError
        Where none was chosen, or the model cannot be imported.
    """
    model, unit, up = _model(asked, folder)
    if not asked.spaces:
        raise EnvelopeError("no space is chosen: tick at least one")
    begun = begin_job(model, folder=folder, unit=unit, up=up, spaces=asked.spaces)
    return with_bed(begun.text, job=begun.job, bed=asked.bed) if asked.bed else begun.text


def with_bed(text: str, *, job: Job, bed: str) -> str:
    """The text of a new job with its one receiver, and what its example treats, in a space.

    Parameters
    ----------
    text : str
        As `begin_job` writes it; the job that a model carries stays as it is.
    job : Job
        Of that text.
    bed : str
        Id of the space.

    Raises
    ------
    EnvelopeError
        Where the space was not taken.
    """
    space = next((each for each in job.building.spaces if each.id == bed), None)
    if space is None:
        raise EnvelopeError(f"{shown(bed)} is not among the rooms that were taken: tick it too")
    data = data_of(text)
    receivers = data.get("receiver", [])
    if len(receivers) != 1 or receivers[0]["space"] == bed:
        return text
    before = receivers[0]["space"]
    x, y, z = middle_of(space)
    text = set_key(text=text, table="receiver", row=0, key="space", value=bed)
    at = f"{x:.3f}, {y:.3f}, {z:.3f} m"
    text = set_key(text=text, table="receiver", row=0, key="at", value=at)
    first = next((each for each in job.building.spaces if each.id == before), space)
    treats = example_treats(space)
    for row, plan in enumerate(data.get("plan", [])):
        if treats and plan["id"] == "example" and plan.get("treat", []) == example_treats(first):
            text = set_key(text=text, table="plan", row=row, key="treat", value=treats)
    return text


def questions_told(job: Job | None) -> list[protocol.QuestionTold]:
    """What the job's model leaves open, to be answered before anything is advised."""
    return [
        {
            "id": each.id,
            "words": shown(each.words, limit=_LONGEST),
            "settle": shown(each.settle, limit=_LONGEST),
        }
        for each in (() if job is None else job.questions)
    ]


def accept(session: Session, asked: protocol.Accept) -> None:
    """Write into the file that an open question of the model is taken as it is assumed."""
    job = session.job
    if job is None or asked.question not in {each.id for each in job.questions}:
        raise EditError("that is not open any more")

    def accepted(text: str) -> str:
        before = data_of(text).get("model", {}).get("accept", [])
        value = [*before, asked.question]
        return set_key(text=text, table="model", row=None, key="accept", value=value)

    session.edit(accepted, label=f"accept {asked.question}", casts_stay=True)


def _model(
    asked: protocol.ListModel | protocol.ImportModel, folder: Path
) -> tuple[Path, str | None, str | None]:
    """Path, unit and axis as asked for; those of a format that has its own are left away."""
    typed = asked.path.strip().strip('"')
    if not typed:
        raise EnvelopeError("no model file is named: type its path, such as /home/me/house.ifc")
    if not typed.isprintable() or len(typed) > 1000:
        raise EnvelopeError("this cannot be the name of a file: type its path")
    try:
        model = folder / Path(typed).expanduser()
    except RuntimeError:  # ~ of somebody who is not on this machine
        raise EnvelopeError(
            f"{shown(typed)} leads to no home folder: type the whole path"
        ) from None
    if model.suffix.lower() not in UNSTATED:
        return model, None, None
    return model, asked.unit or None, asked.up or None


# The open job


def said_by_model(session: Session) -> protocol.ModelTold | None:
    """What the model says of each panel, and what the job file says of it by its id."""
    job, modelled = session.job, session.now.modelled
    if job is None or modelled is None:
        return None
    assemblies, kinds = own_words(session.text)
    origins = modelled.plain.origins
    rules = {panel.panel: panel.rule for panel in modelled.tagged.panels}
    panels: dict[str, protocol.ModelPanel] = {}
    for space in modelled.plain.spaces:
        for panel in space.panels:
            if panel.kind not in KINDS:
                continue
            origin = origins.get(panel.id)
            panels[panel.id] = {
                "kind": panel.kind,
                "assembly": panel.assembly,
                "names": list(panel.tags if origin is None else origin.names or panel.tags)[:4],
                "materials": [] if origin is None else list(origin.materials)[:8],
                "type": None if origin is None else origin.type,
                "reason": "" if origin is None else origin.reason,
                "rule": rules.get(panel.id),
                "own_assembly": assemblies.get(panel.id),
                "own_kind": kinds.get(as_pattern(panel.id)),
            }
    return {
        "source": shown(modelled.plain.source),
        "kinds": list(KINDS),
        "assemblies": sorted({*job.assemblies, *ASSEMBLIES}),
        "panels": panels,
    }


def set_assembly(session: Session, asked: protocol.SetAssembly) -> None:
    """Write into the job file what panels are made of.

    Raises
    ------
    EditError
        Where the job has no model, no such panel or word, or would have faults with it.
    """
    _, job = _modelled(session, asked.panels)
    _check_word(asked.assembly, {*job.assemblies, *ASSEMBLIES}, what="assembly")
    _rewrite(
        session,
        asked.panels,
        asked.assembly,
        lambda text, panel: edit_model.set_assembly(
            text=text, panel=panel, assembly=asked.assembly
        ),
    )


def set_kind(session: Session, asked: protocol.SetKind) -> None:
    """Write into the job file what kind panels are.

    Raises
    ------
    EditError
        Where the job has no model, no such panel or word, or would have faults with it.
    """
    modelled, job = _modelled(session, asked.panels)
    _check_word(asked.kind, set(KINDS), what="kind of panel")
    emptied = _emptied_groups(job, asked)
    _rewrite(
        session,
        asked.panels,
        asked.kind,
        lambda text, panel: edit_model.set_kind(
            text=text,
            panel=panel,
            kind=asked.kind,
            assembly=_ruled_assembly(modelled, panel),
        ),
        after=lambda text: _without_groups(text, emptied),
    )


def _emptied_groups(job: Job, asked: protocol.SetKind) -> set[str]:
    """Selectors of groups of a room that name no panel any more once the kind is another."""
    if asked.kind is None:
        return set()
    changed = set(asked.panels)
    emptied = set()
    for space in job.building.spaces:
        before = {panel.kind for panel in space.panels}
        after = {asked.kind if each.id in changed else each.kind for each in space.panels}
        emptied |= {
            f"{space.id}/{group}"
            for group, kinds in GROUPS.items()
            if before & kinds and not after & kinds
        }
    return emptied


def _without_groups(text: str, emptied: set[str]) -> str:
    """The text with these groups out of its plans: the last window of a room that is a door."""
    for row, plan in enumerate(data_of(text).get("plan", []) if emptied else []):
        treat = plan.get("treat", [])
        kept = [each for each in treat if each.get("on") not in emptied]
        if len(kept) < len(treat):
            text = set_key(text=text, table="plan", row=row, key="treat", value=kept)
    return text


def _modelled(session: Session, panels: Sequence[str]) -> tuple[Modelled, Job]:
    """The session's model and job, where they have all of these panels."""
    modelled, job = session.now.modelled, session.job
    if job is None or modelled is None:
        raise EditError("this job has no model whose panels could be put right")
    known = {panel.panel for panel in modelled.tagged.panels if panel.kind in KINDS}
    if not panels or not known.issuperset(panels):
        raise EditError("there is no such face in the model")
    return modelled, job


def _check_word(word: str | None, allowed: set[str], *, what: str) -> None:
    if word is not None and word not in allowed:
        raise EditError(f"{shown(word)} is no {what}: choose one of the list")


def _rewrite(
    session: Session,
    panels: Sequence[str],
    word: str | None,
    change: Callable[[str, str], str],
    *,
    after: Callable[[str], str] = str,
) -> None:
    """Change the text for each panel, as one step of the session."""
    text = session.text
    for panel in panels:
        text = change(text, panel)
    text = after(text)
    where = panels[0] if len(panels) == 1 else f"{len(panels)} faces"
    session.rebuild(text, label=f"{where}: {'as the model says' if word is None else word}")


def _ruled_assembly(modelled: Modelled, panel: str) -> str | None:
    """Assembly that a rule, not the model, has given a panel."""
    found = next(each for each in modelled.tagged.panels if each.panel == panel)
    if found.rule is None:
        return None
    plain = {each.id: each.assembly for space in modelled.plain.spaces for each in space.panels}
    return found.assembly if found.assembly != plain[panel] else None
