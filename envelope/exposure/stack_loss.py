"""A stack by itself: what it lets through and sends back, by frequency and angle.

For judging a treatment before it is bought, and for what each further coat of it brings.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from envelope.building.job import Job
from envelope.exposure.assumptions import beyond
from envelope.exposure.stacks import Stacker, StackKey
from envelope.geometry.plane import Floats
from envelope.physics.bands import cosine_nodes, diffuse_mean
from envelope.physics.entry_loss import building_entry_loss_db, composite_wall_loss_db
from envelope.physics.stacks import solve
from envelope.physics.tables import p2109, tr38901

ANGLES_DEG = (0.0, 30.0, 45.0, 60.0, 75.0)
MOST_COATS = 4
SHARES = (0.1, 0.5, 0.9)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StackLoss:
    """Losses and reflections of one stack. [dB], power fractions"""

    frequency_hz: Floats  # (f,)
    angle_deg: Floats  # (a,)
    loss_db: Floats  # (f, a, 2) TE, TM
    reflection: Floats  # (f, a, 2) from the near side
    diffuse_loss_db: Floats  # (f,) of an even field, both polarizations
    diffuse_reflection: Floats  # (f,)
    extrapolated: tuple[str, ...]


def judge(
    job: Job,
    *,
    assembly: str | None,
    treatments: Sequence[str],
    frequency_hz: Floats,
    angle_deg: Sequence[float] = ANGLES_DEG,
) -> StackLoss:
    """Loss and reflection of an assembly with treatments on its inner face.

    Parameters
    ----------
    assembly : str or None
        None for the treatments alone, in air.
    treatments : sequence of str
        The one on the surface first.
    frequency_hz : (f,) float
        [Hz]
    angle_deg : sequence of float
        Angles of incidence, below 90. [deg]
    """
    stacker = Stacker(job=job, frequency_hz=frequency_hz)
    items = stacker.items(StackKey(near=tuple(treatments), assembly=assembly, forward=True, far=()))
    angles = np.array(angle_deg, dtype=np.float64)
    found = solve(stack=items, frequency_hz=frequency_hz, cosine=np.cos(np.radians(angles)))
    cosine, weight = cosine_nodes()
    even = solve(stack=items, frequency_hz=frequency_hz, cosine=cosine)
    with np.errstate(divide="ignore"):
        loss = -10.0 * np.log10(found.transmission)
        diffuse = -10.0 * np.log10(
            diffuse_mean(values=even.transmission, cosine=cosine, weight=weight)
        )
    return StackLoss(
        frequency_hz=frequency_hz,
        angle_deg=angles,
        loss_db=loss + 0.0,
        reflection=found.front_reflection,
        diffuse_loss_db=diffuse + 0.0,
        diffuse_reflection=diffuse_mean(values=even.front_reflection, cosine=cosine, weight=weight),
        extrapolated=tuple(beyond(*each) for each in stacker.extrapolated.items()),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coats:
    """What further coats of a sheet bring."""

    treatment: str
    coats: tuple[int, ...]
    diffuse_loss_db: Floats  # (coats, f) of the whole stack


def further_coats(
    job: Job,
    *,
    assembly: str | None,
    treatments: Sequence[str],
    frequency_hz: Floats,
    most: int = MOST_COATS,
) -> tuple[Coats, ...]:
    """Diffuse loss of the stack with 1, 2, … coats of each sheet treatment in it, in turn."""
    found = []
    for name in treatments:
        treatment = job.treatments[name]
        if treatment.kind != "sheet":
            continue
        rows = []
        for coats in range(1, most + 1):
            varied = {**job.treatments, name: replace(treatment, coats=coats)}
            rows.append(
                judge(
                    replace(job, treatments=varied),
                    assembly=assembly,
                    treatments=treatments,
                    frequency_hz=frequency_hz,
                ).diffuse_loss_db
            )
        found.append(
            Coats(
                treatment=name,
                coats=tuple(range(1, most + 1)),
                diffuse_loss_db=np.stack(rows),
            )
        )
    return tuple(found)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class WholeBuildings:
    """Entry loss of buildings of a kind: what a tenth, half and nine tenths do not exceed. [dB]"""

    kind: str
    source: str
    low_db: Floats | None  # (f,) None where the source has a mean alone
    middle_db: Floats  # (f,) nan where the source does not speak
    high_db: Floats | None


def stands_outside(job: Job, assembly: str) -> bool:
    """Whether an assembly is an outer wall or a roof of the job, or glazing in one."""
    building = job.building
    return any(
        patch.behind == "outdoors"
        and building.elements[patch.element].assembly == assembly
        and building.elements[patch.element].kind != "interior-wall"
        for patch in building.patches
    )


def whole_buildings(frequency_hz: Floats) -> tuple[WholeBuildings, ...]:
    """Published losses of whole buildings, to set beside the loss of one wall."""
    found = []
    for kind in ("traditional", "thermally-efficient"):
        loss, known = building_entry_loss_db(building=kind, frequency_hz=frequency_hz, share=SHARES)
        low, middle, high = np.where(known, loss, np.nan)
        found.append(
            WholeBuildings(
                kind=kind.replace("-", " "),
                source=p2109.EDITION,
                low_db=low,
                middle_db=middle,
                high_db=high,
            )
        )
    for model in ("low-loss", "high-loss"):
        loss, known = composite_wall_loss_db(model=model, frequency_hz=frequency_hz)
        found.append(
            WholeBuildings(
                kind=f"{model} wall",
                source=tr38901.COMPOSITE_EDITION,
                low_db=None,
                middle_db=np.where(known, loss, np.nan),
                high_db=None,
            )
        )
    return tuple(found)
