"""A small house written down corner by corner, and results with numbers that are easy to follow."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Sequence
from typing import TypeVar

import numpy as np
import pytest

from envelope.building.job import Assembly, Job, Layer, Plan, Receiver, Source, Treatment
from envelope.building.model import (
    Building,
    Element,
    Panel,
    Patch,
    Site,
    Space,
    Storey,
)
from envelope.exposure.footprints import Light, landings
from envelope.exposure.results import (
    BandResult,
    Landing,
    LeakPath,
    PanelLeak,
    PlanResult,
    ReceiverResult,
    SourceResult,
)
from viewer.scene.build import build_scene
from viewer.scene.compass import direction_to
from viewer.scene.records import Scene

Opening = tuple[str, str, int, float, float, float, float]  # id, kind, wall, along, sill, w, h


def room(
    *,
    name: str,
    storey: str,
    corners: Sequence[tuple[float, float]],
    low_m: float,
    high_m: float,
    openings: Sequence[Opening] = (),
) -> Space:
    """Panels of a room with upright walls, wound inward, openings in the plane of their walls."""
    plan = np.array(corners, dtype=float)
    panels = []
    for k in range(len(plan)):
        a, b = plan[k], plan[(k + 1) % len(plan)]
        along = (b - a) / np.linalg.norm(b - a)

        def at(u: float, z: float, a=a, along=along) -> tuple[float, float, float]:
            point = a + u * along
            return (float(point[0]), float(point[1]), z)

        length = float(np.linalg.norm(b - a))
        # seen from inside, the wall's first corner is at the right-hand end
        outline = [at(0, low_m), at(0, high_m), at(length, high_m), at(length, low_m)]
        holes = []
        for opening, kind, wall, start, sill, width, height in openings:
            if wall != k + 1:
                continue
            lower = low_m + sill
            ring = [
                at(start, lower),
                at(start, lower + height),
                at(start + width, lower + height),
                at(start + width, lower),
            ]
            holes.append(np.array(ring))
            panels.append(
                Panel(
                    id=f"{name}/{opening}",
                    space=name,
                    kind=kind,  # type: ignore[arg-type]
                    outline=np.array(ring),
                    host=f"{name}/{k + 1}",
                )
            )
        panels.append(
            Panel(
                id=f"{name}/{k + 1}",
                space=name,
                kind="wall",
                outline=np.array(outline),
                holes=tuple(holes),
            )
        )
    level = np.column_stack((plan, np.full(len(plan), low_m)))
    panels.append(Panel(id=f"{name}/floor", space=name, kind="floor", outline=level))
    over = np.column_stack((plan, np.full(len(plan), high_m)))[::-1]
    panels.append(Panel(id=f"{name}/ceiling", space=name, kind="ceiling", outline=over))
    return Space(id=name, storey=storey, panels=tuple(panels), floor_m=low_m)


def building_of(*, spaces: Sequence[Space], storeys: Sequence[Storey], site: Site) -> Building:
    """A building whose every panel has one patch, towards outdoors."""
    panels = tuple(panel for space in spaces for panel in space.panels)
    patches = tuple(
        Patch(
            index=index,
            panel=panel.id,
            regions=((panel.frame.flatten(panel.outline), ()),),
            area_m2=panel.area_m2,
            behind="earth" if panel.kind == "floor" and panel.outline[0, 2] == 0.0 else "outdoors",
            element=index,
        )
        for index, panel in enumerate(panels)
    )
    elements = tuple(
        Element(
            index=index,
            kind="exterior-wall" if panel.kind == "wall" else "roof",
            assembly="brick" if panel.kind == "wall" else "board",
            first=panel.id,
        )
        for index, panel in enumerate(panels)
    )
    return Building(
        site=site,
        storeys=tuple(storeys),
        spaces=tuple(spaces),
        panels=panels,
        patches=patches,
        elements=elements,
        digest="hand",
    )


R = TypeVar("R")


def known(record: type[R], **values: object) -> R:
    """A record of which only some fields matter here; the others are None."""
    names = [field.name for field in dataclasses.fields(record) if field.init]  # type: ignore[arg-type]
    return record(**{name: values.get(name) for name in names})


def leaks_of(
    building: Building, *, space: str, open_sr: dict[str, float], plan: Plan
) -> tuple[PanelLeak, ...]:
    """Leaks with given open-equivalent solid angles, 0.8 sr a panel."""
    total = sum(open_sr.values())
    found = []
    for panel in building.space(space).panels:
        if panel.id not in open_sr:
            continue
        mean = open_sr[panel.id] / 0.8
        found.append(
            PanelLeak(
                panel=panel.id,
                kind=panel.kind,
                treatments=tuple(plan.treatments.get(panel.id, ())),
                area_m2=panel.area_m2,
                solid_angle_sr=0.8,
                loss_db=-10 * math.log10(mean) if mean > 0 else math.inf,
                open_equivalent_solid_angle_sr=open_sr[panel.id],
                share=open_sr[panel.id] / total,
                direct_share=open_sr[panel.id] / total,
                is_gap=mean > 0.01,
                treated_with=("coating",),
                level_if_treated_w_m2=3e-4 * (1.0 - open_sr[panel.id] / total),
                below_if_treated_db=-10 * math.log10(max(1.0 - open_sr[panel.id] / total, 1e-9)),
            )
        )
    return tuple(sorted(found, key=lambda leak: -leak.share))


@pytest.fixture(scope="session")
def house_job() -> Job:
    """An L-shaped bedroom above a living room, a hall beside it, a mast and a router."""
    ground = room(
        name="living",
        storey="ground",
        corners=[(0, 0), (6.4, 0), (6.4, 3.6), (0, 3.6)],
        low_m=0.0,
        high_m=2.5,
        openings=[("W9", "window", 1, 1.0, 0.3, 2.2, 1.9)],
    )
    bedroom = room(
        name="bedroom",
        storey="upper",
        corners=[(0, 0), (4.2, 0), (4.2, 2.6), (2.7, 2.6), (2.7, 3.6), (0, 3.6)],
        low_m=2.75,
        high_m=5.15,
        openings=[
            ("D1", "door", 2, 0.3, 0.0, 0.8, 2.0),
            ("W1", "window", 5, 0.5, 0.9, 1.4, 1.2),
            ("W2", "window", 6, 1.6, 0.9, 1.0, 1.2),
        ],
    )
    hall = room(
        name="hall",
        storey="upper",
        corners=[(4.4, 0), (6.4, 0), (6.4, 3.6), (4.4, 3.6)],
        low_m=2.75,
        high_m=5.15,
    )
    building = building_of(
        spaces=[ground, bedroom, hall],
        storeys=[Storey(id="ground", floor_m=0.0), Storey(id="upper", floor_m=2.75)],
        site=Site(north_rad=math.radians(15.0), grade_m=-0.2),
    )
    walls = {f"bedroom/{k}": ("coating",) for k in range(1, 7)}
    return Job(
        name="Larch Cottage, upper bedroom",
        building=building,
        assemblies={
            "brick": Assembly(id="brick", layers=(Layer(material="brick", thickness_m=0.18),)),
            "board": Assembly(id="board", layers=(Layer(material="wood", thickness_m=0.03),)),
        },
        treatments={
            "coating": Treatment(id="coating", kind="sheet", sheet_resistance_ohm_sq=5.0),
            "film": Treatment(id="film", kind="sheet", sheet_resistance_ohm_sq=8.0),
        },
        sources=(
            Source(
                id="mast",
                band_hz=(1805e6, 1880e6),
                azimuth_rad=math.radians(40.0),
                elevation_rad=math.radians(18.0),
                level_w_m2={"": 8.5e-4},
            ),
            Source(
                id="router",
                band_hz=(2.4e9, 2.5e9),
                space="hall",
                position_m=np.array([5.6, 2.2, 4.0]),
                eirp_w=0.1,
            ),
        ),
        receivers=(
            Receiver(
                id="bed",
                space="bedroom",
                position_m=np.array([0.5, 1.15, 3.4]),
                size_m=np.array([0.9, 2.0, 0.3]),
            ),
        ),
        plans=(
            Plan(id="as-built", treatments={}),
            Plan(id="walls-only", treatments=walls),
            Plan(id="walls-and-film", treatments={**walls, "bedroom/W2": ("film",)}),
        ),
    )


OPEN_SR = {
    "as-built": {
        **{f"bedroom/{k}": 0.2 for k in range(1, 7)},
        "bedroom/ceiling": 0.3,
        "bedroom/floor": 0.02,
        "bedroom/W1": 0.30,
        "bedroom/W2": 0.10,
        "bedroom/D1": 0.08,
    },
    "walls-only": {
        **{f"bedroom/{k}": 0.0004 for k in range(1, 7)},
        "bedroom/ceiling": 0.001,
        "bedroom/floor": 0.0006,
        "bedroom/W1": 0.30,
        "bedroom/W2": 0.10,
        "bedroom/D1": 0.05,
    },
    "walls-and-film": {
        **{f"bedroom/{k}": 0.0004 for k in range(1, 7)},
        "bedroom/ceiling": 0.001,
        "bedroom/floor": 0.0006,
        "bedroom/W1": 0.30,
        "bedroom/W2": 0.0004,
        "bedroom/D1": 0.05,
    },
}
EXPOSED_SR = 10.0


@pytest.fixture(scope="session")
def house_results(house_job: Job) -> tuple[PlanResult, ...]:
    """A result for each plan, with landings from the real projection."""
    building = house_job.building
    bed = house_job.receivers[0]
    mast = house_job.sources[0]
    towards = direction_to(
        azimuth_rad=mast.azimuth_rad or 0.0,
        elevation_rad=mast.elevation_rad,
        north_rad=building.site.north_rad,
    )
    landed: dict[str, tuple[Landing, ...]] = {
        name: landings(
            gap=building.panel(name),
            panels=building.space("bedroom").panels,
            receivers=house_job.receivers,
            light=Light(direction=-towards),
        )
        for name in ("bedroom/W1", "bedroom/D1")
    }
    results = []
    for plan in house_job.plans:
        open_sr = OPEN_SR[plan.id]
        total = sum(open_sr.values())
        leaks = leaks_of(building, space="bedroom", open_sr=open_sr, plan=plan)
        paths = tuple(
            LeakPath(
                panel=name,
                kind=building.panel(name).kind,
                treatments=(),
                lit_area_m2=1.1,
                loss_db=3.0,
                level_w_m2=3e-4 if name == "bedroom/W1" else 1e-6,
                share=0.95 if name == "bedroom/W1" else 0.05,
                is_gap=True,
                landings=found,
            )
            for name, found in landed.items()
        )
        source = known(
            SourceResult,
            id="mast",
            frequency_hz=1842.5e6,
            outside_w_m2=8.5e-4,
            direct_w_m2=3e-4,
            diffuse_w_m2=0.0,
            level_w_m2=3e-4,
            reduction_db=4.5,
            below_as_built_db=1.5,
            lit_area_m2=12.0,
            unshielded_area_m2=1.7,
            unshielded_solid_angle_sr=0.01,
            paths=paths,
        )
        results.append(
            PlanResult(
                plan=plan.id,
                receivers=(
                    known(
                        ReceiverResult,
                        id=bed.id,
                        space="bedroom",
                        position_m=bed.position_m,
                        points=9,
                        exposed_solid_angle_sr=EXPOSED_SR,
                        exposed_above_horizon_sr=2 * math.pi,
                        closure_error_sr=1e-4,
                        standard_error=3e-4,
                        reference_band=0,
                        own_share=0.0,
                        bands=(
                            BandResult(
                                frequency_hz=1842.5e6,
                                unshielded_solid_angle_sr=0.8 * sum(leak.is_gap for leak in leaks),
                                unshielded_error_sr=1e-3,
                                open_equivalent_solid_angle_sr=total,
                                isotropic_direct=total / EXPOSED_SR,
                                isotropic_diffuse=0.0,
                            ),
                        ),
                        sources=(source,),
                        panels=leaks,
                    ),
                ),
            )
        )
    return tuple(results)


@pytest.fixture(scope="session")
def house_scene(house_job: Job, house_results: tuple[PlanResult, ...]) -> Scene:
    """The scene of the house."""
    return build_scene(job=house_job, results=house_results)


@pytest.fixture(scope="session")
def room_of() -> Callable[..., Space]:
    """Maker of rooms."""
    return room


@pytest.fixture(scope="session")
def building_from() -> Callable[..., Building]:
    """Maker of buildings."""
    return building_of
