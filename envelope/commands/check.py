"""`gapcast check`: every fault of a project file at once, or what the file describes."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from typing import Any

from envelope.building.adjacency import FACING_M
from envelope.building.behind import face_name, faces_of, near_misses
from envelope.building.job import Job
from envelope.building.model import OPENING_KINDS, Building, Panel
from envelope.building.plan_measures import may_be_done
from envelope.building.source_notes import source_notes
from envelope.building.unknowns import Unknown
from envelope.commands import tables
from envelope.commands.arguments import add_job, add_output_switches
from envelope.commands.common import read_job
from envelope.errors import FaultsError
from envelope.exposure import serialise as as_json
from envelope.exposure.assumptions import bond_notes
from envelope.text import length
from envelope.text.trade import titles_of
from envelope.wiring.notes import wiring_counts, wiring_notes

DESCRIPTION = (
    "Reads a project file and lists every fault at once, each with its line. Without a fault it "
    "says what the file describes, what lies behind each face of the rooms with a receiver, "
    "and what to state next."
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the command takes."""
    add_job(parser)
    add_output_switches(parser, csv=False)


MOST_NAMED = 4  # of the panels that a note is about
# By which a wall may be thicker than its layers, for plaster and what a tape misses; common
# practice, no source.
SPARE_M = 0.05
# Above the ground by more, a door outdoors has no step before it; common practice, no source.
STEP_M = 1.0


def _openings(building: Building) -> set[str]:
    """Openings as they were written: one between two rooms counts once."""
    return {
        panel.id.partition("/")[2]
        for panel in building.panels
        if panel.host is not None and panel.kind in OPENING_KINDS
    }


def untreated_reveals(job: Job) -> list[str]:
    """List, plan by plan, reveals left untreated between a treated wall and opening."""
    sentences = []
    for plan in job.plans:
        treated = {panel for panel, names in plan.treatments.items() if names}
        bare = [
            panel.id
            for panel in job.building.panels
            if panel.kind == "reveal"
            and panel.id not in treated
            and {panel.host, panel.opening} <= treated
        ]
        if bare:
            few = ", ".join(bare[:MOST_NAMED]) + (", …" if len(bare) > MOST_NAMED else "")
            space = bare[0].partition("/")[0]
            sentences.append(
                f"plan {plan.id} treats an opening and its wall but not the reveals between them: "
                f"{few}. {space}/reveals names all of them; {space}/* does not."
            )
    return sentences


def _behind(job: Job) -> list[dict[str, Any]]:
    """What lies behind each face of the rooms that have a receiver."""
    return [
        {
            "space": space,
            "face": face.name,
            "panel": face.panel,
            "area_m2": face.area_m2,
            "behind": [
                {
                    "what": part.behind,
                    "is_space": part.is_space,
                    "area_m2": part.area_m2,
                    "assembly": part.assembly,
                }
                for part in face.parts
            ],
        }
        for space in dict.fromkeys(receiver.space for receiver in job.receivers)
        for face in faces_of(job.building, space)
    ]


def missed_neighbours(job: Job) -> list[str]:
    """List faces that count as outdoors although another room stands close to them."""
    sentences = []
    for space in dict.fromkeys(receiver.space for receiver in job.receivers):
        for miss in near_misses(job.building, space):
            sentences.append(
                f"{miss.name} of {space} faces {miss.space} across "
                f"{length(miss.gap_m, feet=job.feet)} and counts as outdoors: rooms share a "
                f"wall or floor of at most {length(FACING_M, feet=job.feet)}. If they adjoin, "
                "correct an origin, or place one beside the other."
            )
    return sentences


def unowned_sources(job: Job) -> list[str]:
    """Ask whose a transmitter in the house is: steps count on the household's being off."""
    asked: dict[str, str] = {}
    for source in job.sources:
        whose = {measure.agreed_by for measure in may_be_done(source, job.building)}
        if "unknown" in whose:
            name = source.device or source.id
            place = job.places.get(("source", name, "id"))
            asked[name] = name if place is None else f"{name} (line {place.line})"
    return [
        f'{each}: whose is it? It counts as on: write owner = "household" if it may be off at '
        'night, else owner = "neighbour", or say in may what may be done about it.'
        for each in asked.values()
    ]


def _where_someone_sleeps(job: Job, *kinds: str) -> Iterator[Panel]:
    """Panels of some kinds in rooms with a receiver, in the building's order."""
    rooms = {receiver.space for receiver in job.receivers}
    for panel in job.building.panels:
        if panel.kind in kinds and panel.space in rooms:
            yield panel


def thick_walls(job: Job) -> list[str]:
    """List shared walls much thicker than their layers: a party wall is no partition."""
    building = job.building
    sentences = []
    for panel in _where_someone_sleeps(job, "wall"):
        for patch in building.patches_of[panel.id]:
            name = building.elements[patch.element].assembly
            layers = job.assemblies[name].layers if name is not None else ()
            if patch.far is None or not layers:
                continue
            far = building.panel(patch.far)
            made_m = sum(layer.thickness_m for layer in layers)
            stands_m = float((panel.outline[0] - far.outline[0]) @ panel.normal)
            if stands_m > made_m + SPARE_M:
                sentences.append(
                    f"{face_name(panel, building)} of {panel.space} stands "
                    f"{length(stands_m, feet=job.feet)} thick before {far.space}, and {name} is "
                    f"{length(made_m, feet=job.feet)} thick: name what it is made of "
                    f'([[panel]] on = "{panel.id}", assembly = …), or correct where the rooms '
                    "stand."
                )
    return list(dict.fromkeys(sentences))


def closed_rooms(job: Job) -> list[str]:
    """Ask for the door and windows of a receiver's room that has none: it would seem too tight."""
    rooms = dict.fromkeys(receiver.space for receiver in job.receivers)
    opened = {
        panel.space for panel in job.building.panels if panel.kind in (*OPENING_KINDS, "open")
    }
    return [
        f"{room} has no door and no window in the job: what its plans bring is too good until they "
        "are entered"
        for room in rooms
        if room not in opened
    ]


def doors_in_mid_air(job: Job) -> list[str]:
    """Ask what lies behind a door that leads outdoors high up: as a rule a room is missing."""
    building = job.building
    sentences = []
    for panel in _where_someone_sleeps(job, "door"):
        above_m = float(panel.outline[:, 2].min()) - building.site.grade_m
        if any(patch.far is not None for patch in building.patches_of[panel.id]):
            continue
        if above_m > STEP_M:
            own = panel.id.rpartition("/")[2]
            place = job.places.get(("opening", own, "id"))
            sentences.append(
                f"{own if place is None else f'{own} (line {place.line})'} is a door to the "
                f"outdoors, {length(above_m, feet=job.feet)} above the ground: if a landing or a "
                "room lies behind it, enter that, since its walls shield too."
            )
    return sentences


def unstated_edges(job: Job) -> list[str]:
    """Ask for the frame and the film edge of windows in receivers' rooms, by line."""
    filmed = {panel for plan in job.plans for panel, names in plan.treatments.items() if names}
    asked: dict[tuple[str, ...], list[str]] = {}
    for panel in _where_someone_sleeps(job, "window", "skylight"):
        own = panel.id.rpartition("/")[2]
        place = job.places.get(("opening", own, "id"))
        if place is None:  # of a model, whose file does not say
            continue
        keys = ["frame", *(["film-edge"] if panel.id in filmed else [])]
        missing = tuple(key for key in keys if ("opening", own, key) not in job.places)
        if missing:
            asked.setdefault(missing, []).append(f"{own} (line {place.line})")
    wide, edge, none = ("3 in", "1/8 in", "0 in") if job.feet else ("80 mm", "3 mm", "0 mm")
    examples = {
        "frame": f'frame = "{wide}" with {_FRAMES}',
        "film-edge": f'frame = "{wide}" with {_FRAMES}, and film-edge = "{edge}"',
    }
    return [
        f"{', '.join(names)}: {' and '.join(keys)} not stated and taken as none. A bare frame "
        f"{wide} wide may let in more than all coated walls: write {examples[keys[-1]]}, or "
        + " and ".join(f'{key} = "{none}"' for key in keys)
        + " where film covers all."
        for keys, names in asked.items()
    ]


_FRAMES = 'frame-assembly = "wood-frame", "plastic-frame" or "metal-frame"'


def _asked(job: Job, each: Unknown) -> dict[str, Any]:
    """What the file leaves open, at the line of its table."""
    place = job.places.get((each.table, each.id, "id"))
    return {
        "path": None if place is None else place.path,
        "line": None if place is None else place.line,
        "table": each.table,
        "id": each.id,
        "key": each.key,
        "taken": each.taken,
        "settle": each.settle,
    }


def _glazing(job: Job) -> list[str]:
    """What pairs of readings say of the glazing; without readings nothing is cast."""
    if not job.readings:
        return []
    from envelope.survey import glazing_found
    from envelope.text.surveys import glass_words

    return [glass_words(job, found) for found in glazing_found(job)]


def _summary(job: Job) -> dict[str, Any]:
    building = job.building
    return {
        "project": job.name,
        "storeys": len(building.storeys),
        "spaces": len(building.spaces),
        "panels": len(building.panels),
        "patches": len(building.patches),
        "openings": len(_openings(building)),
        "volume_m3": sum(space.volume_m3 for space in building.spaces),
        "sources": len(job.sources),
        "readings": len(job.readings),
        "receivers": len(job.receivers),
        "plans": [plan.id for plan in job.plans],
        "notes": [
            *job.notes,
            *closed_rooms(job),
            *doors_in_mid_air(job),
            *source_notes(job),
            *_glazing(job),
            *unowned_sources(job),
            *missed_neighbours(job),
            *thick_walls(job),
            *unstated_edges(job),
            *untreated_reveals(job),
            *bond_notes(job),
            *wiring_notes(job),
        ],
        "wiring": None if job.wiring is None else wiring_counts(job.wiring),
        "faces": _behind(job),
        "questions": [each.as_plain() for each in job.questions],
        "unstated": [_asked(job, each) for each in job.unknowns],
        "solved": [as_json.solved_as_plain(solved) for solved in job.solved],
    }


def run(options: argparse.Namespace) -> int:
    """List faults (exit code 2), or say what was understood."""
    try:
        job = read_job(options.job)
    except FaultsError as error:
        if not options.json:
            raise
        faults = [
            {
                "path": fault.location.path if fault.location else str(options.job),
                "line": fault.location.line if fault.location else None,
                "key": fault.location.key if fault.location else None,
                "id": fault.location.name if fault.location else None,
                "message": fault.message,
            }
            for fault in error.faults
        ]
        print(json.dumps({"format": 1, "faults": faults}, indent=2))
        return 2
    summary = _summary(job)
    if options.json:
        print(json.dumps({"format": 1, "faults": [], **summary}, indent=2))
    else:
        tables.print_summary(summary, titles=titles_of(job), feet=job.feet)
    return 0
