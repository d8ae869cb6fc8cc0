"""Shares of the level, against finite differences of the whole analysis, and their sum."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from envelope.building.job import Job, LossCurve
from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.exposure.results import ReceiverResult
from envelope.rays import Sampling

STEP_DB = 1e-3
FACES = ("1", "2", "3", "4", "floor", "ceiling")
SOURCES = [
    {
        "id": "mast",
        "azimuth": "200 deg",
        "elevation": "20 deg",
        "spread": "4 deg",
        "band": "2.4-2.5 GHz",
        "level": "900 uW/m2",
        "scattered": 0.3,
    },
    {"id": "router", "at": "-3.0, -2.0, 1.5 m", "band": "800-820 MHz", "eirp": "20 dBm"},
]


def rooms(room_plain, open_sky, *, second: bool) -> dict:
    """One room, or two side by side, each face with an assembly of its own."""
    spaces = ["room", "other"] if second else ["room"]
    faces = [f"{space}/{face}" for space in spaces for face in FACES]
    if second:
        faces.remove("other/4")  # the same wall as room/2
    plain = room_plain(
        site=open_sky,
        assembly=[
            {"id": "wall", "loss": "6 dB", "reflects": 0.3},
            *(
                {"id": face.replace("/", "-"), "loss": f"{4 + at} dB", "reflects": 0.3}
                for at, face in enumerate(faces)
            ),
        ],
        panel=[{"on": face, "assembly": face.replace("/", "-")} for face in faces],
        construction={**room_plain()["construction"], "window": "wall", "door": "wall"},
        space=[
            {"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m"},
            {
                "id": "other",
                "storey": "ground",
                "origin": "4, 0 m",
                "size": "3 m x 3 m",
                "height": "2.4 m",
            },
        ][: len(spaces)],
        source=SOURCES,
    )
    for space in plain["space"]:
        space["raised"] = True
    return plain


def result(job: Job, casts) -> ReceiverResult:
    return analyze(job=job, casts=casts, plans=job.plans[:1]).plans[0].receivers[0]


def moved(job: Job, face: str, step_db: float) -> Job:
    """The job with one face's loss moved, what it reflects kept."""
    name = face.replace("/", "-")
    before = job.assemblies[name]
    loss = LossCurve(frequencies_hz=(), losses_db=(before.loss.losses_db[0] + step_db,))
    return replace(job, assemblies={**job.assemblies, name: replace(before, loss=loss)})


def slope(job: Job, casts, face: str) -> float:
    """Relative change of the level for a relative change of what a face transmits."""
    up, down = (
        result(moved(job, face, step), casts).headline.level_w_m2 for step in (-STEP_DB, STEP_DB)
    )
    return float(np.log(up / down) / (2.0 * STEP_DB * np.log(10.0) / 10.0))


@pytest.fixture
def alone(room_plain, open_sky, read_job):
    job = read_job(rooms(room_plain, open_sky, second=False))
    return job, cast_job(job, sampling=Sampling(points_per_panel=2**9, points=2**12))


@pytest.fixture
def beside(room_plain, open_sky, read_job):
    job = read_job(rooms(room_plain, open_sky, second=True))
    return job, cast_job(job, sampling=Sampling(points_per_panel=2**9, points=2**12))


class TestFiniteDifferences:
    @pytest.mark.parametrize("face", FACES)
    def test_a_share_is_the_slope_of_the_level(self, alone, face):
        job, casts = alone
        found = {leak.panel: leak.share for leak in result(job, casts).panels}
        assert found[f"room/{face}"] == pytest.approx(slope(job, casts, f"room/{face}"), abs=1e-6)

    @pytest.mark.parametrize("face", ["1", "3", "4", "floor", "ceiling"])
    def test_an_outer_face_keeps_what_comes_back_through_the_next_room(self, beside, face):
        job, casts = beside
        found = {leak.panel: leak.share for leak in result(job, casts).panels}
        assert found[f"room/{face}"] == pytest.approx(slope(job, casts, f"room/{face}"), abs=1e-6)

    def test_an_inner_wall_has_what_the_next_rooms_outer_faces_let_in(self, beside):
        job, casts = beside
        found = {leak.panel: leak.share for leak in result(job, casts).panels}
        outer = [face for face in FACES if face != "4"]
        brought = sum(slope(job, casts, f"other/{face}") for face in outer)
        assert brought > 0.002
        assert found["room/2"] == pytest.approx(brought, abs=1e-6)

    def test_slopes_of_the_whole_envelope_add_up_to_one(self, beside):
        job, casts = beside
        faces = [f"room/{face}" for face in FACES if face != "2"]
        faces += [f"other/{face}" for face in FACES if face != "4"]
        assert sum(slope(job, casts, face) for face in faces) == pytest.approx(1.0, abs=1e-6)

    def test_an_isotropic_field_has_shares_of_its_own(self, alone):
        job, casts = alone
        without = replace(job, sources=())
        found = {leak.panel: leak.share for leak in result(without, casts).panels}
        for face in FACES:
            name = f"room/{face}"
            assert found[name] == pytest.approx(slope(without, casts, name), abs=1e-6)


class TestWhole:
    def test_shares_add_up_with_a_source_in_the_room(self, room_plain, open_sky, read_job):
        plain = rooms(room_plain, open_sky, second=True)
        inside = {"id": "hub", "space": "room", "at": "3, 2, 1 m", "band": "2.4 GHz"}
        plain["source"] = [*SOURCES, {**inside, "eirp": "10 dBm"}]
        job = read_job(plain)
        found = result(job, cast_job(job))
        assert found.own_share > 0.1
        assert found.own_share + sum(leak.share for leak in found.panels) == pytest.approx(
            1.0, abs=1e-12
        )

    def test_a_source_in_the_room_alone_leaves_its_faces_nothing(
        self, room_plain, open_sky, read_job
    ):
        plain = rooms(room_plain, open_sky, second=True)
        inside = {"id": "hub", "space": "room", "at": "3, 2, 1 m", "band": "2.4 GHz"}
        plain["source"] = [{**inside, "eirp": "10 dBm"}]
        job = read_job(plain)
        found = result(job, cast_job(job))
        assert found.own_share == pytest.approx(1.0, abs=1e-12)
        assert all(leak.share == 0.0 for leak in found.panels)

    def test_a_closet_without_a_door_counts_as_the_room(self, room_plain, open_sky, read_job):
        plain = rooms(room_plain, open_sky, second=True)
        plain["panel"] = [each for each in plain["panel"] if each["on"] != "room/2"]
        plain["opening"] = [
            {
                "id": "C1",
                "on": "room/2",
                "kind": "open",
                "at": "0.5 m",
                "size": "0.9 m x 2.1 m",
            }
        ]
        job = read_job(plain)
        found = result(job, cast_job(job))
        by_panel = {leak.panel: leak.share for leak in found.panels}
        assert "room/C1" not in by_panel
        assert by_panel["other/1"] > 0.0
        assert sum(by_panel.values()) == pytest.approx(1.0, abs=1e-12)

    def test_the_order_of_sources_changes_nothing(self, room_plain, open_sky, read_job):
        found = []
        for order in (1, -1):
            plain = rooms(room_plain, open_sky, second=True)
            plain["source"] = SOURCES[::order]
            job = read_job(plain)
            found.append(result(job, cast_job(job)))
        one, other = found
        assert one.reference == other.reference
        assert [leak.panel for leak in one.panels] == [leak.panel for leak in other.panels]
        for before, after in zip(one.panels, other.panels, strict=True):
            assert after.share == pytest.approx(before.share, rel=1e-9)
            assert after.loss_db == before.loss_db
            assert after.is_gap == before.is_gap
            assert after.level_if_treated_w_m2 == pytest.approx(
                before.level_if_treated_w_m2, rel=1e-9
            )
