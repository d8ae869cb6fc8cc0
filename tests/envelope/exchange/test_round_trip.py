"""The sample bedrooms written out, read back, and cast again: the same solid angles and ranking."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from envelope.building.assemble import assemble_building
from envelope.building.job import Job
from envelope.building.model import Building, Panel
from envelope.exchange import flush_openings, read_model, to_glb, to_obj, to_ply, to_stl
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.project import load
from envelope.rays import Sampling, cast_directions

MODELS = Path(__file__).parents[3] / "models"
AT_MOST_SR = 1e-5
FEW = Sampling(points_per_panel=2**10, points=2**14)
# A fixed number: where an error is asked for, how many points a panel gets depends on its kind too,
# which a file without names does not tell.
FIXED = Sampling(points_per_panel=2**13, points=2**17)


@pytest.fixture(scope="module")
def jobs() -> dict[str, Job]:
    return {name: load(MODELS / f"{name}.toml") for name in ("bedroom", "house")}


@pytest.fixture(scope="module")
def whole(jobs: dict[str, Job]) -> dict[str, dict[str, float]]:
    """Solid angle of each panel of the receiver's space, before any round trip. [sr]"""
    return {
        name: by_panel(job.building, job.receivers[0].space, job.receivers[0].position_m)
        for name, job in jobs.items()
    }


def nameless_glb(building: Building) -> bytes:
    return to_glb(building).replace(b'"gapcast": {', b'"forgets": {')


def nameless_obj(building: Building) -> bytes:
    """Faces under numbers."""
    lines = to_obj(building).splitlines(keepends=True)
    return "".join(line for line in lines if line[0] in "vf").encode()


def named_obj(building: Building) -> bytes:
    return to_obj(building).encode()


def read_back(job: Job, path: Path, content: bytes) -> Building:
    path.write_bytes(content)
    stated = {} if path.suffix == ".glb" else {"unit": "m", "up": "z"}
    found = read_model(path, **stated)
    assembly = {
        element.kind: element.assembly for element in job.building.elements if element.assembly
    }
    return assemble_building(
        site=job.building.site,
        storeys=found.storeys,
        spaces=found.spaces,
        construction={kind: assembly.get(kind, "any") for kind in (*assembly, *KINDS)},
    )


KINDS = ("exterior-wall", "interior-wall", "floor", "slab", "roof", "window", "door")


def box(panels: tuple[Panel, ...]) -> np.ndarray:
    corners = np.vstack([panel.outline for panel in panels])
    return np.concatenate((corners.min(axis=0), corners.max(axis=0)))


def by_panel(building: Building, space: str, eye: np.ndarray) -> dict[str, float]:
    """Solid angle of each panel, hidden parts left out. [sr]"""
    cast = cast_directions(building, space=space, position_m=eye, sampling=FIXED)
    sums = np.bincount(
        cast.first_panel, weights=cast.solid_angle_sr, minlength=len(building.panels)
    )
    return {
        panel.id: float(total)
        for panel, total in zip(building.panels, sums, strict=True)
        if panel.space == space
    }


@pytest.mark.parametrize(
    ("model", "name", "write"),
    [
        ("bedroom", "a.glb", to_glb),
        ("bedroom", "a.obj", named_obj),
        ("bedroom", "b.glb", nameless_glb),
        ("house", "a.glb", to_glb),
    ],
)
def test_glb_and_obj_keep_every_panel_s_solid_angle(
    jobs: dict[str, Job],
    whole: dict[str, dict[str, float]],
    tmp_path: Path,
    model: str,
    name: str,
    write: Callable[[Building], bytes],
) -> None:
    job, before = jobs[model], whole[model]
    receiver = job.receivers[0]
    again = read_back(job, tmp_path / name, write(job.building))
    after = by_panel(again, receiver.space, receiver.position_m)
    assert after.keys() == before.keys()
    for panel, solid_angle in before.items():
        assert after[panel] == pytest.approx(solid_angle, abs=AT_MOST_SR, rel=0.0), panel


@pytest.mark.parametrize(
    ("model", "name", "write"),
    [
        ("bedroom", "a.stl", to_stl),
        ("bedroom", "a.ply", to_ply),
        ("bedroom", "a.obj", nameless_obj),
        ("house", "a.stl", to_stl),
    ],
)
def test_without_names_flush_openings_count_with_their_wall(
    jobs: dict[str, Job],
    whole: dict[str, dict[str, float]],
    tmp_path: Path,
    model: str,
    name: str,
    write: Callable[[Building], bytes],
) -> None:
    """All else, hidden panels and all, keeps its solid angle."""
    job, before = jobs[model], dict(whole[model])
    building, receiver = job.building, job.receivers[0]
    again = read_back(job, tmp_path / name, write(building))
    room = box(building.space(receiver.space).panels)
    (space,) = [item for item in again.spaces if np.abs(box(item.panels) - room).max() < 1e-5]
    gone = [panel for panel in flush_openings(building) if panel in before]
    assert gone
    for panel in gone:
        host = building.panel(panel).host
        assert host is not None
        before[host] += before.pop(panel)
    after = by_panel(again, space.id, receiver.position_m)
    assert sorted(after.values()) == pytest.approx(sorted(before.values()), abs=AT_MOST_SR, rel=0.0)


@pytest.mark.parametrize(("name", "write"), [("a.glb", to_glb), ("a.obj", named_obj)])
def test_the_analysis_ranks_the_same(
    jobs: dict[str, Job], tmp_path: Path, name: str, write: Callable[[Building], bytes]
) -> None:
    job = jobs["bedroom"]
    again = replace(job, building=read_back(job, tmp_path / name, write(job.building)))
    one, two = (analyze(job=each, casts=cast_job(each, sampling=FEW)) for each in (job, again))
    for before, after in zip(one.plans, two.plans, strict=True):
        for here, there in zip(before.receivers, after.receivers, strict=True):
            assert [leak.panel for leak in there.panels] == [leak.panel for leak in here.panels]
            assert [leak.is_gap for leak in there.panels] == [leak.is_gap for leak in here.panels]
            for leak, same in zip(here.panels, there.panels, strict=True):
                assert same.solid_angle_sr == pytest.approx(leak.solid_angle_sr, abs=AT_MOST_SR)
