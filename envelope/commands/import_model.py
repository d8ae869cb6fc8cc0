"""`gapcast import`: a model of others as a job, or what is in it, or what the rules make of it."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from envelope.building.job import Job
from envelope.building.library import TYPICAL
from envelope.building.model import Space
from envelope.commands import import_tables
from envelope.commands.arguments import html_path, png_path
from envelope.errors import EnvelopeError, ModelFileError, UnitError
from envelope.exchange import Note, in_feet, list_model, model_edges, refused_model, space_at
from envelope.files import write_atomically
from envelope.geometry.plane import Floats
from envelope.project.load import decode, load_with_model, read_bytes
from envelope.project.model import Modelled
from envelope.project.new_from_model import Begun, begin_job
from envelope.project.rule_file import RuleFile, read_rules
from envelope.units import parse_point

DESCRIPTION = (
    "Turns the spaces of a model file into a project file that refers to the model, and lists "
    "what was assumed, repaired or left out."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    parser.add_argument(
        "model",
        type=Path,
        help="GLB, glTF, OBJ, STL, PLY, IFC, IFCZIP or gbXML; with --dry-run a project file too",
    )
    look = parser.add_mutually_exclusive_group()
    look.add_argument("--list", action="store_true", help="only list its storeys and spaces")
    look.add_argument(
        "--dry-run",
        action="store_true",
        help="only list its panels: area, kind, what lies beyond, the rule that caught each",
    )
    parser.add_argument(
        "--space",
        action="append",
        metavar="NAME",
        help="take this space; may be given several times",
    )
    parser.add_argument(
        "--at",
        action="append",
        metavar="PLACE",
        help='take the space of an IFC file that holds a place on the plan, such as "3.2, 4.1 m"; '
        "may be given several times",
    )
    parser.add_argument("--storey", metavar="NAME", help="take the spaces of this storey only")
    parser.add_argument(
        "--unit", choices=("m", "cm", "mm", "ft", "in"), help="unit of OBJ, STL and PLY"
    )
    parser.add_argument("--up", choices=("x", "y", "z"), help="their axis that points up")
    parser.add_argument(
        "--fit",
        action="store_true",
        help="of a mesh that is open, as a scan: fit closed rooms to its walls, floor and ceiling, "
        "and say how far it lies off them",
    )
    parser.add_argument("--rules", type=Path, metavar="FILE", help="TOML file of [[tag]] rules")
    parser.add_argument(
        "-o", "--output", type=Path, metavar="JOB", help="project file to write; never overwritten"
    )
    parser.add_argument(
        "--picture",
        type=png_path,
        metavar="PNG",
        help="draw the model with numbers where something was repaired, refused or left open",
    )
    parser.add_argument(
        "--review",
        type=html_path,
        metavar="HTML",
        help="write a page to look at before trusting the import: plans, the ground, every face "
        "with what lies behind, materials, what was assumed, and the lines that settle it",
    )


def run(options: argparse.Namespace) -> int:
    """List, preview, or write a project file."""
    if options.model.suffix.lower() == ".toml":
        return _preview_job(options)
    if options.list:
        listing = list_model(options.model, unit=options.unit, up=options.up, fit=options.fit)
        import_tables.print_listing(listing, feet=in_feet(options.unit))
        return 0
    looks = options.dry_run or options.picture is not None or options.review is not None
    if options.output is None and not looks:
        raise EnvelopeError(
            "nothing to write to: name a project file with -o, such as -o job.toml; "
            "--list, --dry-run, --picture and --review only look"
        )
    if options.output is not None:
        _refuse_existing(options.output)
    if options.at:
        _resolve_places(options)
    rules = None if options.rules is None else read_rules(options.rules)
    try:
        begun = _begun(options, rules)
    except ModelFileError:
        if options.picture is not None:
            _draw_refused(options)
        raise
    feet = in_feet(options.unit)
    if options.dry_run:
        import_tables.print_panels(begun.tagged, begun.job.building, feet=feet)
    notes = begun.notes
    import_tables.print_materials(begun.modelled.imported.materials)
    import_tables.print_fit(begun.modelled.imported, feet=feet)
    import_tables.print_notes(notes, whole=options.dry_run, feet=feet)
    if options.picture is not None:
        edges_m = model_edges(options.model, unit=options.unit, up=options.up)
        _draw(options, edges_m=edges_m, spaces=begun.modelled.imported.spaces, notes=notes)
    if options.review is not None:
        _review(options, begun.job, begun.modelled, notes, feet=feet)
    if options.output is not None and not options.dry_run:
        write_atomically(options.output, begun.text.encode())
        _tell(options.output, begun.job, begun.modelled)
    return 0


def _resolve_places(options: argparse.Namespace) -> None:
    """Turn places on the plan into names of spaces."""
    for text in options.at:
        try:
            x, y = parse_point(text, count=2)
        except UnitError as error:
            raise EnvelopeError(f"--at: {error}") from None
        found = space_at(options.model, at=(x, y), storey=options.storey)
        options.space = [*(options.space or []), found]
    options.storey = None  # it said where the places are; spaces have ids of their own


def _begun(options: argparse.Namespace, rules: RuleFile | None) -> Begun:
    return begin_job(
        options.model,
        folder=Path() if options.output is None else options.output.parent,
        unit=options.unit,
        up=options.up,
        spaces=options.space or None,
        storey=options.storey,
        rules=rules,
        fit=options.fit,
    )


def _draw(
    options: argparse.Namespace,
    *,
    edges_m: Floats,
    spaces: Sequence[Space],
    notes: Sequence[Note],
    end: str = "",
) -> None:
    from viewer.pictures.import_picture import draw_import

    draw_import(
        edges_m=edges_m,
        panels=[panel for space in spaces for panel in space.panels],
        notes=notes,
        title=options.model.name,
        path=options.picture,
    )
    print(f"wrote {options.picture}{end}")


def _review(
    options: argparse.Namespace,
    job: Job,
    modelled: Modelled,
    notes: Sequence[Note],
    *,
    feet: bool,
) -> None:
    from viewer.review.build import write_review

    write_review(options.review, job, modelled.imported, notes=notes, feet=feet)
    print(f"wrote {options.review}")


def _draw_refused(options: argparse.Namespace) -> None:
    """A picture of a model that was refused, where at least something of it can be read."""
    try:
        edges_m, notes = refused_model(options.model, unit=options.unit, up=options.up)
    except ModelFileError:
        print("no picture: nothing of the model could be read")
        return
    if not any(note.position_m or (note.kind == "refused" and len(edges_m)) for note in notes):
        print("no picture: what it was refused for has no place in it")
        return
    _draw(options, edges_m=edges_m, spaces=(), notes=notes, end=": where the model was refused")


def _preview_job(options: argparse.Namespace) -> int:
    """The panels of a project file's model, with the rules that the file has."""
    if not options.dry_run and options.review is None:
        raise EnvelopeError(
            f"{options.model}: is a project file already; with --dry-run its panels are listed, "
            "with --review a page shows them"
        )
    name = str(options.model)
    job, modelled = load_with_model(decode(read_bytes(name), path=name), path=name)
    if modelled is None:
        raise EnvelopeError(f"{name}: has no [model]: its spaces come from dimensions")
    if options.dry_run:
        import_tables.print_panels(modelled.tagged, job.building, feet=job.feet)
        import_tables.print_materials(modelled.imported.materials)
        import_tables.print_fit(modelled.imported, feet=job.feet)
        import_tables.print_notes(modelled.imported.notes, whole=True, feet=job.feet)
    if options.picture is not None:
        imported = modelled.imported
        _draw(options, edges_m=np.zeros((0, 2, 3)), spaces=imported.spaces, notes=imported.notes)
    if options.review is not None:
        _review(options, job, modelled, modelled.imported.notes, feet=job.feet)
    return 0


def _refuse_existing(path: Path) -> None:
    if path.suffix.lower() != ".toml":
        raise EnvelopeError(f"{path}: the name of a project file ends in .toml")
    if path.exists():
        raise EnvelopeError(f"{path}: is there already and is not overwritten; choose another name")


def _tell(path: Path, job: Job, modelled: Modelled) -> None:
    """What was written, what in it is assumed, and how to go on."""
    building = job.building
    ids = [space.id for space in building.spaces]
    more = f" and {len(ids) - 8} more" if len(ids) > 8 else ""
    print(f"wrote {path}: {', '.join(ids[:8])}{more}, {len(building.panels)} panels")
    used = dict.fromkeys(element.assembly for element in building.elements)
    typical = [name for name in used if name and job.assemblies[name].note.startswith(TYPICAL)]
    if typical:
        print(f"typical layers, check on site: {', '.join(typical)}")
    cut_off = [panel.id for panel in building.panels if panel.unmodelled]
    if cut_off:
        few = ", ".join(cut_off[:4]) + (", …" if len(cut_off) > 4 else "")
        print(
            f"{len(cut_off)} panels lead to parts of the house that were not taken ({few}): open "
            "air counts as standing there, which makes levels too high; take those too"
        )
    if not job.sources:
        print("no source yet: an even exterior field at 2.45 GHz is assumed")
    print(f"next: gapcast check {path}, which asks what the model leaves open")
