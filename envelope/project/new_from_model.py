"""A model file and what is wanted of it, made into the first text of a job that loads."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from envelope.building.job import Job
from envelope.building.library import ASSEMBLIES
from envelope.errors import Fault, Location, ModelFileError, ProjectFileError
from envelope.exchange import Note, TaggedImport, tag_panels
from envelope.project.embedded import fitted
from envelope.project.load import load_with_model
from envelope.project.model import Modelled, read_cached
from envelope.project.model_job_text import Reading, starting_text
from envelope.project.rule_file import RuleFile


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Begun:
    """A job that has been begun from a model, not yet written anywhere."""

    text: str  # of the project file
    tagged: TaggedImport
    job: Job
    modelled: Modelled
    notes: tuple[Note, ...] = ()  # on the model, and on the job that it carries


def begin_job(
    model: Path,
    *,
    folder: Path,
    unit: str | None = None,
    up: str | None = None,
    spaces: Sequence[str] | None = None,
    storey: str | None = None,
    rules: RuleFile | None = None,
    fit: bool = False,
) -> Begun:
    """Import a model and compose the text of its project file.

    Parameters
    ----------
    model : Path
        The model file.
    folder : Path
        Where the project file will be: it names the model relative to this.
    unit, up : str, optional
        Of OBJ, STL and PLY.
    spaces : sequence of str, optional
        Ids or names of the spaces to take; all if not given.
    storey : str, optional
        Take the spaces of this one only.
    rules : RuleFile, optional
        Tag rules, taken over into the text.
    fit : bool, optional
        Of meshes: fit closed rooms to open surfaces.

    Raises
    ------
    ModelFileError
        Where the file cannot be read, or makes no sound building.
    """
    imported, fingerprint = read_cached(
        model, unit=unit, up=up, spaces=spaces, storey=storey, fit=fit
    )
    if rules is not None:
        rules.check([*imported.assemblies, *ASSEMBLIES])
    tagged = tag_panels(imported, () if rules is None else rules.rules)
    tables, told = fitted(imported)
    compose = partial(
        starting_text,
        tagged.imported,
        reading=Reading(
            file=_relative(model, folder),
            fingerprint=fingerprint,
            unit=unit,
            up=up,
            spaces=tuple(spaces or ()),
            storey=storey,
            fit=fit,
        ),
        name=", ".join([model.stem, *(spaces or ()), *([storey] if storey else ())])[:200],
        rules="" if rules is None else rules.text,
        defined=() if rules is None else rules.assemblies,
    )
    text = compose(carried=tables)
    try:
        job, modelled = _tried(text, model, folder)
    except ModelFileError as error:
        if not tables:
            raise
        # The rooms are sound without it, or are refused for their own sake.
        text = compose()
        job, modelled = _tried(text, model, folder)
        why = f"was left out: {error.faults[0].message}"
        told = [Note(kind="left-out", subject="the job that the model carries", message=why)]
    notes = (*modelled.imported.notes, *told)
    return Begun(text=text, tagged=tagged, job=job, modelled=modelled, notes=notes)


def _relative(model: Path, folder: Path) -> str:
    """Name of the model file as the project file gives it; absolute on another drive."""
    try:
        return Path(os.path.relpath(model.resolve(), folder.resolve())).as_posix()
    except ValueError:
        return model.resolve().as_posix()


def _tried(text: str, model: Path, folder: Path) -> tuple[Job, Modelled]:
    """The job of the text; what is wrong with it is wrong with the model or the rules."""
    try:
        job, modelled = load_with_model(text, path="job.toml", folder=folder)
    except ProjectFileError as error:
        location = Location(path=str(model))
        raise ModelFileError(
            [Fault(message=fault.message, location=location) for fault in error.faults]
        ) from None
    assert modelled is not None  # the text has a [model]
    return job, modelled
