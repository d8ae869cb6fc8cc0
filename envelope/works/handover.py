"""What whoever lives there keeps in hand: care, patching, tests of links, when to measure again.

All common practice, no source; a maker's own instructions come first.
"""

from __future__ import annotations

from dataclasses import dataclass

from envelope.building.conduction import is_conductive
from envelope.building.job import Job, Plan
from envelope.works.takeoff import TakeOff

COATING_CARE = (
    "Coating under its finish: no screw, nail or drill through it. Hang pictures from a rail or "
    "with adhesive; a fixing that must go through is for the electrician to test afterwards.",
    "Repaint over it with ordinary paint. Do not strip or sand down to the coating.",
)
FILM_CARE = (
    "Film: no cleaning for the time that its maker states, then water with a little soap and a "
    "soft cloth. No blade, no ammonia, no abrasive; nothing stuck on it.",
    "Watch the pane in its first summer: a crack that begins at the edge is thermal stress.",
)
CURTAIN_CARE = (
    "Curtain: close it so that it overlaps the wall on both sides and the sill. Wash it as its "
    "maker says; many cloths lose shielding with every wash, so measure after the first.",
)
FLOOR_CARE = (
    "Floor goods: nothing is screwed through the floor. Before a floor is lifted, ask: the laps "
    "and the bond must be made again and tested.",
)
PATCHING = (
    "Power off and proved dead before anything is cut open.",
    "Cut back to sound coating, feather its edge over a hand's width, and fill and prime as new.",
    "As many coats as before, from the same product, over the feathered edge on all sides.",
    "Measure from the patch to the bond when it is dry: no more than the reading of the same face "
    "at hand-over, by the electrician.",
    "Finish coat, then one reading at the bed.",
)
LINKS = (
    "Mobile phone: an ordinary call from every treated room (never an emergency number)",
    "Wired or other means to call for help, in reach of the bed",
    "Smoke alarms: each one set off in turn, all linked ones sound",
    "Carbon monoxide alarms: the same",
    "Medical telemetry or call systems, if there are any",
    "Meters that are read by radio: the utility has been asked",
    "Windows that are a way out open fully with film and curtain in place",
    "Vents and combustion air are free",
)
MEASURE_AGAIN = (
    "after any work on a treated face, a window or a door",
    "when a mast, a router or a meter is added or changed, in the house or near it",
    "after the curtain's first wash",
    "one year after hand-over, then every second year",
    "the resistance to the bond: at each of these by the electrician, and when a residual-current "
    "device has tripped",
)
KEEP_SMALL = (
    "A transmitter used inside a shielded room raises the level there: keep phones in flight mode "
    "and routers outside."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotoSlot:
    """A place in the file for one photo."""

    what: str
    panel: str | None = None


def care_of(job: Job, found: TakeOff) -> tuple[str, ...]:
    """Care of what a plan has put up."""
    used = {face.treatment for face in found.faces}
    forms = {product.form for product in job.products if product.treatment in used}
    kinds = {face.kind for face in found.faces}
    said: list[str] = []
    conducting = {name for name in used if is_conductive(job.treatments[name])}
    on_walls = {
        face.treatment for face in found.faces if face.kind in ("wall", "ceiling", "reveal")
    }
    if conducting & on_walls:
        said += COATING_CARE
    glazed = {face.treatment for face in found.faces if face.kind in ("window", "skylight")}
    hanging = {name for name in glazed if job.treatments[name].hangs}
    if "film" in forms or glazed - hanging:
        said += FILM_CARE
    if "curtain" in forms or hanging:
        said += CURTAIN_CARE
    if "floor" in kinds:
        said += FLOOR_CARE
    return tuple(said)


def not_to_be_drilled(job: Job, plan: Plan) -> tuple[str, ...]:
    """Faces on which something conducts, in the building's order; leaves are left out."""
    return tuple(
        panel.id
        for panel in job.building.panels
        if panel.kind in ("wall", "floor", "ceiling", "reveal")
        and any(is_conductive(job.treatments[name]) for name in plan.treatments.get(panel.id, ()))
    )


def photo_slots(job: Job, plan: Plan, bonds: tuple[str, ...]) -> tuple[PhotoSlot, ...]:
    """Photos that belong into the file: each wall before it closed, rings, laps, bonds, meter.

    Parameters
    ----------
    job : Job
    plan : Plan
    bonds : tuple of str
        Panels on which a bond is made.
    """
    faces = not_to_be_drilled(job, plan)
    walls = [name for name in faces if job.building.panel(name).kind == "wall"]
    slots = [PhotoSlot(what="open, with a tape in it", panel=name) for name in walls]
    slots += [PhotoSlot(what="the bond, before it is covered", panel=name) for name in bonds]
    slots += [
        PhotoSlot(what="its clear ring", panel=panel.id)
        for panel in job.building.panels
        if panel.kind == "box" and panel.host in faces
    ]
    if any(job.building.panel(name).kind == "floor" for name in faces):
        slots.append(PhotoSlot(what="Floor goods with their laps, before the floor is laid"))
    slots.append(PhotoSlot(what="The meter at the bed, before"))
    slots.append(PhotoSlot(what="The meter at the bed, after"))
    return tuple(slots)
