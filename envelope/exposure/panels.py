"""The panels of a receiver's room: geometry, what each brings, and what treating it does."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from envelope.building.job import Plan
from envelope.building.model import Panel
from envelope.exposure.decibels import reduction_db
from envelope.exposure.diffuse import Faces, hemisphere_means
from envelope.exposure.ranking import Rank, Seen
from envelope.exposure.results import PanelLeak
from envelope.exposure.shares import shares_of
from envelope.exposure.solid_angles import (
    loss_db,
    threshold_transmission,
    totals,
)
from envelope.exposure.transmission import Bench, Tables, treatments_on
from envelope.geometry.plane import Floats


def panel_table(
    *,
    bench: Bench,
    plan: Plan,
    tables: Tables,
    faces: Faces,
    seen: Seen,
    brought_w_m2: Floats,
    ranks: Sequence[Rank],
    band: int,
    threshold_db: float,
) -> tuple[PanelLeak, ...]:
    """Every panel of the receiver's room, the one first whose treatment brings the level lowest.

    Parameters
    ----------
    bench, plan, tables, faces
        Of the plan, as in `analyze_plan`.
    seen : Seen
        The receiver.
    brought_w_m2 : (panels + 1,) float
        Level by panel, from `Trials.by_panel_w_m2`.
    ranks : sequence of Rank
        What treating panels does; where there is none, they come by what they bring.
    band : int
        The band that losses, solid angles and direct shares are of.
    threshold_db : float
        Loss below which a panel is a gap. [dB]
    """
    building = bench.job.building
    crossings = seen.casts.crossings
    weight = crossings.solid_angle_sr * (crossings.sky > 0)
    exposed = totals(crossings.first_panel, weight, len(building.panels))
    through = seen.open_equivalent_sr[:, band]
    straight = shares_of(through)
    shares = shares_of(brought_w_m2)
    level = float(brought_w_m2.sum())
    limit = threshold_transmission(threshold_db)
    rank_of = {rank.panel: rank for rank in ranks}
    found = []
    for index in seen.region.panels:
        panel = building.panels[index]
        is_exposed = bool(exposed[index] > 0.0)
        mean = (
            float(through[index] / exposed[index])
            if is_exposed
            else _hemisphere_mean(panel, bench=bench, tables=tables, faces=faces, band=band)
        )
        rank = rank_of.get(panel.id)
        treated = None if rank is None else rank.level_w_m2
        found.append(
            PanelLeak(
                panel=panel.id,
                kind=panel.kind,
                treatments=treatments_on(plan, panel.id),
                area_m2=panel.area_m2,
                solid_angle_sr=float(exposed[index]),
                loss_db=loss_db(mean),
                open_equivalent_solid_angle_sr=float(through[index]),
                share=float(shares[index]),
                direct_share=float(straight[index]),
                is_gap=is_exposed and mean > limit,
                treated_with=() if rank is None else rank.treatments,
                level_if_treated_w_m2=treated,
                below_if_treated_db=None if treated is None else reduction_db(level, treated),
                level_with_all_before_w_m2=None if rank is None else rank.with_all_before_w_m2,
            )
        )
    place = {rank.panel: number for number, rank in enumerate(ranks)}
    return tuple(
        sorted(found, key=lambda leak: (place.get(leak.panel, math.inf), -leak.share, leak.panel))
    )


def _hemisphere_mean(
    panel: Panel, *, bench: Bench, tables: Tables, faces: Faces, band: int
) -> float:
    """Mean transmission of a panel that no exposed direction lies behind, as a field feels it.

    Nothing comes out of the ground.
    """
    through, _ = hemisphere_means(tables, band)
    patches = [each for each in bench.job.building.patches_of[panel.id] if each.behind != "earth"]
    area = sum(each.area_m2 for each in patches)
    if not area > 0.0:
        return 0.0
    rows = np.array([each.index for each in patches])
    return float(faces.area_m2[rows] @ through[tables.stacks.of_face[rows]]) / area
