"""Unknown figures are drawn over their range, move what they should, and are listed by it."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.building.unknowns import DIRECTIVITY_DB, FURNISHING_M2, duty_range
from envelope.exposure.analysis import analyze, bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.stacks import Stacker, StackKey
from envelope.exposure.tolerances import Tolerances, deviates, draw, spread_over
from envelope.exposure.uncertainty import level_draws
from envelope.physics.materials import board_permittivity, material_permittivity

F = np.array([0.9e9, 1.8e9, 2.45e9])


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, read_job_as_it_is, few):
    return SimpleNamespace(
        room=room_plain, window=window_plain, mast=mast_plain, read=read_job,
        read_as_it_is=read_job_as_it_is, few=few,
    )  # fmt: skip


@pytest.mark.parametrize(
    "span", [FURNISHING_M2, DIRECTIVITY_DB, *map(duty_range, (None, "DECT", "Wi-Fi 2.4"))]
)
def test_a_range_is_that_of_the_draws(span):
    drawn = spread_over(span, deviates("any", count=999, seed=1))
    assert drawn[0] == span.middle
    low, high = np.quantile(drawn[1:], (0.1, 0.9))
    assert (low, high) == pytest.approx((span.low, span.high), rel=0.02)
    assert drawn.min() >= span.least
    assert drawn.max() <= span.most


class TestProducts:
    def test_a_board_lies_between_wood_and_plywood(self):
        wood, plywood = (
            material_permittivity(material=name, frequency_hz=F)[0] for name in ("wood", "plywood")
        )
        ends, _ = board_permittivity(share=[0.0, 1.0], frequency_hz=F)
        assert ends == pytest.approx(np.stack((wood, plywood)))
        middle, _ = material_permittivity(material="unknown-board", frequency_hz=F)
        assert middle.imag == pytest.approx(-np.sqrt(wood.imag * plywood.imag))

    def test_a_coat_is_there_in_half_of_the_draws_and_not_nominally(self, make):
        plain = make.room(
            assembly=[
                {"id": "wall", "loss": "9 dB"},
                {"id": "pane", "layers": [{"sheet-resistance": "4 ohm/sq", "perhaps": True}]},
            ],
            opening=[make.window()],
        )
        stacker = Stacker(job=make.read(plain), frequency_hz=F, tolerances=Tolerances(count=200))
        (sheet,) = stacker.items(StackKey(near=(), assembly="pane", forward=True, far=()))
        ohm = np.abs(sheet.impedance_ohm[:, 0])
        assert ohm[0] > 1e6
        assert (ohm[1:] < 10.0).sum() == 100

    def test_another_material_stands_in_half_of_the_draws_and_not_nominally(self, make):
        plain = make.room(
            assembly=[
                {"id": "wall", "loss": "9 dB"},
                {"id": "pane", "layers": [
                    {"material": "plasterboard", "perhaps-material": "concrete",
                     "thickness": "0.1 m"}]},
            ],
            opening=[make.window()],
        )  # fmt: skip
        job = make.read(plain)
        (unknown,) = [each for each in job.unknowns if each.id == "pane"]
        stacker = Stacker(job=job, frequency_hz=F, tolerances=Tolerances(count=200))
        (layer,) = stacker.items(StackKey(near=(), assembly="pane", forward=True, far=()))
        real = layer.permittivity[:, 0].real
        board, _ = material_permittivity(material="plasterboard", frequency_hz=F)
        assert real[0] == pytest.approx(board[0].real)
        is_other = draw(job, count=200).unknown[unknown] > 0.0
        assert is_other[1:].sum() == 100
        assert real[1:][is_other[1:]].min() > 4.0 > real[1:][~is_other[1:]].max()


def drawn_levels(make, plain):
    job = make.read_as_it_is(plain)
    casts = cast_job(job, sampling=make.few)
    draws = draw(job, count=200)
    bench = bench_of(job, casts)
    return draws, level_draws(bench=bench, plan=job.plans[0], casts=casts, draws=draws)


class TestLevels:
    def test_a_transmitter_in_the_room_feeds_it_by_what_it_radiates(self, make):
        """In a room that keeps all, the field is the power radiated over what absorbs it."""
        plain = make.room(
            assembly=[
                {"id": "wall", "loss": "200 dB", "reflects": 1.0, "loss-tolerance": "0 dB"},
                {"id": "pane", "loss": "200 dB"},
            ],
            space=[{"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m",
                    "furnishing": "2 m2", "occupants": 0}],
            receiver=[{"id": "bed", "space": "room", "at": "3.8, 2.8, 2.2 m"}],
            source=[{"id": "router", "space": "room", "at": "0.2, 0.2, 0.2 m",
                     "band": "2.45 GHz", "eirp": "20 dBm", "duty": 1.0,
                     "level-tolerance": "0 dB"}],
        )  # fmt: skip
        draws, levels = drawn_levels(make, plain)
        distance_m = math.dist((3.8, 2.8, 2.2), (0.2, 0.2, 0.2))
        direct = 0.1 / (4.0 * math.pi * distance_m**2)
        (unknown,) = draws.unknown
        directivity_db = spread_over(unknown.range, draws.unknown[unknown])
        expected = direct + 0.1 * 10.0 ** (-directivity_db / 10.0) / 2.0
        assert levels.level_w_m2("bed") == pytest.approx(expected, rel=1e-6)

    def test_duty_moves_all_of_a_transmitter(self, make):
        plain = make.room(
            space=[{"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m",
                    "furnishing": "2 m2"}],
            source=[{"id": "router", "space": "room", "at": "0.2, 0.2, 0.2 m",
                     "band": "2.45 GHz", "eirp": "20 dBm", "directivity": "0 dB",
                     "level-tolerance": "0 dB"}],
        )  # fmt: skip
        draws, levels = drawn_levels(make, plain)
        (unknown,) = draws.unknown
        assert unknown.key == "duty"
        found = levels.level_w_m2("bed")
        assert found.min() / found.max() < 0.2
        assert found[0] == pytest.approx(found.max(), rel=0.2)  # taken to send all the time

    def test_a_routers_duty_moves_it_about_the_middle_that_its_level_has(self, make):
        source = {"id": "router", "space": "room", "at": "0.2, 0.2, 0.2 m",
                  "eirp": "20 dBm", "directivity": "0 dB", "level-tolerance": "0 dB"}  # fmt: skip
        space = {"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m",
                 "furnishing": "2 m2"}  # fmt: skip
        plain = make.room(space=[space], source=[{**source, "service": "Wi-Fi 2.4"}])
        stated = make.room(space=[space], source=[{**source, "service": "Wi-Fi 2.4", "duty": 0.05}])
        levels = drawn_levels(make, plain)[1].level_w_m2("bed")
        at_middle = drawn_levels(make, stated)[1].level_w_m2("bed")
        assert levels[0] == pytest.approx(at_middle[0], rel=1e-12)
        low, high = np.quantile(levels[1:] / at_middle[1:], (0.1, 0.9))
        assert (low, high) == pytest.approx((0.2, 10.0), rel=0.1)

    def test_the_scattered_share_takes_from_the_beam_what_it_gives_all_round(self, make):
        """Outside the beam's window nothing but the scattered share arrives: in proportion."""
        plain = make.room(
            assembly=[
                {"id": "wall", "loss": "20 dB", "reflects": 0.0, "loss-tolerance": "0 dB"},
                {"id": "pane", "loss": "3 dB"},
            ],
            space=[{"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m",
                    "furnishing": "0 m2", "occupants": 0}],
            source=[make.mast(**{"level-tolerance": "0 dB", "direction-tolerance": "0.001 deg"})],
        )  # fmt: skip
        draws, levels = drawn_levels(make, plain)
        share = draws.scattered[0]
        assert share[0] == 0.1
        whole = 1e-3 * 0.01  # beam and scattered energy lose the same in such a wall
        assert levels.level_w_m2("bed") == pytest.approx(np.full(201, whole), rel=1e-3)

    def test_a_mirrored_partner_follows_the_beam_of_its_source(self, make):
        plain = make.room(source=[make.mast(**{"ground-reflection": True, "elevation": "20 deg"})])
        job = make.read_as_it_is(plain)
        draws = draw(job, count=50)
        assert len(job.sources) == 2
        assert not draws.scattered[1].any()
        ratio = draws.level[1] / draws.level[0]
        assert ratio == pytest.approx((1.0 - draws.scattered[0]) / 0.9, rel=1e-12)


class TestWhatFiguresRestOn:
    def rests(self, make, **changes):
        plain = make.room(
            assembly=[
                {"id": "wall", "loss": "20 dB", "reflects": 0.7},
                {"id": "pane", "loss": "1 dB"},
            ],
            opening=[make.window()],
            treatment=[{"id": "film", "kind": "fixed", "loss": "20 dB"}],
            plan=[{"id": "p", "treat": [{"on": "room/W1", "with": "film"}]}],
            source=[make.mast(spread="5 deg")],
        )
        job = make.read_as_it_is({**plain, **changes})
        return analyze(job=job, casts=cast_job(job, sampling=make.few), with_bands=True).rests

    def test_the_greatest_unknown_comes_first_and_says_how_to_settle_it(self, make):
        found = self.rests(make)
        moves = [rest.moves_db for rest in found]
        assert moves == sorted(moves, reverse=True)
        words = [rest.words for rest in found]
        assert "scattered share of mast" in words
        scattered = found[words.index("scattered share of mast")]
        assert scattered.is_unknown
        assert scattered.plan == "p"
        assert "line-of-sight" in scattered.settle
        # what moves both plans alike is no reason to choose one of them
        assert "level of mast" not in words

    def test_what_is_stated_is_off_the_list(self, make):
        stated = make.mast(spread="5 deg", scattered=0.1)
        assert all("scattered" not in rest.words for rest in self.rests(make, source=[stated]))

    def test_without_a_plan_it_is_todays_level_that_rests_on_them(self, make):
        found = self.rests(make, plan=[])
        assert found[0].plan == "as-built"
        level = {rest.words: rest.moves_db for rest in found}["level of mast"]
        assert level == pytest.approx(3.0, abs=0.3)  # as it is stated: good to 3 dB
