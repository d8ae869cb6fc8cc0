"""Every part of the nominal level is in the draws: the first draw is the level, to the last digit.

And whatever moves the level moves its band: edges, slots and their polarization, scattered energy.
"""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.building.job import Plan
from envelope.exposure.analysis import analyze_plan, bench_of
from envelope.exposure.beam_draws import _along, _inside, directions_aside
from envelope.exposure.casts import cast_job
from envelope.exposure.sequences import sequences_of
from envelope.exposure.stack_draws import stack_draws
from envelope.exposure.tolerances import draw
from envelope.exposure.transmission import stacks_of
from envelope.exposure.uncertainty import level_draws
from envelope.exposure.varying_rows import varying_rows


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, few):
    return SimpleNamespace(
        room=room_plain, window=window_plain, mast=mast_plain, read=read_job, few=few
    )


def drawn(job, few, *, edges: bool = False, count: int = 200):
    """Nominal result and draws of the first plan, from one set of casts."""
    casts = cast_job(job, sampling=few)
    bench = bench_of(job, casts)
    nominal = analyze_plan(bench=bench, plan=job.plans[0], casts=casts, edges=edges)
    levels = level_draws(
        bench=bench, plan=job.plans[0], casts=casts, draws=draw(job, count=count), edges=edges
    )
    return nominal, levels


WALL = {"id": "wall", "loss": "40 dB", "reflects": 0.0, "loss-tolerance": "0 dB"}
PANE = {"id": "pane", "loss": "0 dB"}
STILL = {"level-tolerance": "0 dB", "direction-tolerance": "0.001 deg"}


def everything(make, **changes):
    """Layers, a window with a reveal, a coat, scattered energy, a door's slot, a transmitter."""
    plain = make.room(
        assembly=[
            {"id": "wall", "layers": [
                {"material": "plasterboard", "thickness": "12.5 mm"},
                {"material": "air", "thickness": "90 mm"},
                {"material": "brick", "thickness": "102 mm"}]},
            {"id": "pane", "layers": [{"material": "glass", "thickness": "6 mm"}]},
        ],
        opening=[
            make.window(reveal="0.1 m"),
            {"id": "D1", "on": "room/2", "kind": "door", "at": "0.5 m", "size": "0.8 m x 2 m",
             "undercut": "8 mm"},
        ],
        treatment=[{"id": "coat", "kind": "sheet", "sheet-resistance": "6 ohm/sq"}],
        source=[make.mast(azimuth="170 deg", elevation="10 deg", spread="5 deg",
                          scattered=0.2, band="1805-1880 MHz", polarization="vertical"),
                {"id": "meter", "at": "2, -6, 1 m", "band": "868 MHz", "eirp": "14 dBm"}],
        plan=[{"id": "p", "treat": [{"on": "room/walls", "with": ["coat"]}]}],
    )  # fmt: skip
    return {**plain, **changes}


@pytest.mark.parametrize("edges", [False, True])
@pytest.mark.parametrize("box", [False, True])
def test_the_first_draw_is_the_level(make, edges, box):
    plain = everything(make)
    plain["receiver"] = [{"id": "bed", "space": "room", "at": "1.6, 1.1, 1.0 m"}]
    if box:
        plain["receiver"][0]["size"] = "0.9 m x 1.9 m x 0.2 m"
    job = make.read(plain)
    casts = cast_job(job, sampling=make.few)
    bench, draws = bench_of(job, casts), draw(job, count=20)
    for plan in job.plans:
        (receiver,) = analyze_plan(bench=bench, plan=plan, casts=casts, edges=edges).receivers
        levels = level_draws(bench=bench, plan=plan, casts=casts, draws=draws, edges=edges)
        for source in receiver.sources:
            first = levels.by_source["bed", source.id].level_w_m2[0]
            assert first == pytest.approx(source.level_w_m2, rel=1e-9)
        assert levels.level_w_m2("bed")[0] == pytest.approx(receiver.level_w_m2, rel=1e-9)


def test_edges_move_the_draws_as_they_move_the_level(make):
    """Deep in the shadow beside a window only the edge lets anything in."""
    plain = make.room(
        assembly=[{**WALL, "loss": "80 dB"}, PANE],
        opening=[make.window()],
        receiver=[{"id": "bed", "space": "room", "at": "3.0, 1.1, 1.5 m"}],
        source=[make.mast(spread="0.5 deg", **STILL)],
    )
    job = make.read(plain)
    (dark, dark_draws), (lit, lit_draws) = (
        drawn(job, make.few, edges=edges, count=20) for edges in (False, True)
    )
    ratio = lit.receivers[0].level_w_m2 / dark.receivers[0].level_w_m2
    assert ratio > 1.5
    found = lit_draws.level_w_m2("bed") / dark_draws.level_w_m2("bed")
    assert found == pytest.approx(np.full(21, ratio), rel=1e-3)


def test_an_edge_softens_what_the_direction_does(make):
    """Just outside a beam, draws that turn the beam away leave the edge's field, not nothing."""
    plain = make.room(
        assembly=[{**WALL, "loss": "80 dB"}, PANE],
        opening=[make.window()],
        receiver=[{"id": "bed", "space": "room", "at": "2.55, 1.1, 1.5 m"}],
        source=[make.mast(spread="0.5 deg", **{"level-tolerance": "0 dB",
                                               "direction-tolerance": "4 deg"})],
        space=[{"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m",
                "furnishing": "100 m2"}],
    )  # fmt: skip
    job = make.read(plain)
    spans = []
    for edges in (False, True):
        _, levels = drawn(job, make.few, edges=edges)
        low, high = np.quantile(levels.level_w_m2("bed")[1:], (0.1, 0.9))
        spans.append(10 * math.log10(high / low))
    assert spans[1] < spans[0] - 3.0


def test_a_slots_polarization_moves_the_draws(make):
    """A door's undercut lets a beam in whose magnetic field runs along it, and hardly the other."""
    door = {"id": "D1", "on": "room/1", "kind": "door", "at": "1.2 m", "size": "0.8 m x 2 m",
            "undercut": "8 mm"}  # fmt: skip
    ratios = []
    for polarization in ("vertical", "horizontal"):
        plain = make.room(
            assembly=[{**WALL, "loss": "120 dB"}, {"id": "pane", "loss": "120 dB"}],
            opening=[door],
            receiver=[{"id": "bed", "space": "room", "at": "1.6, 1.1, 0.004 m"}],
            source=[make.mast(spread="0.01 deg", polarization=polarization, **STILL)],
        )
        nominal, levels = drawn(make.read(plain), make.few, count=20)
        ratios.append((nominal.receivers[0].level_w_m2, np.median(levels.level_w_m2("bed"))))
    (vertical, vertical_drawn), (horizontal, horizontal_drawn) = ratios
    assert vertical > 10.0 * horizontal
    assert vertical_drawn / horizontal_drawn == pytest.approx(vertical / horizontal, rel=0.05)


class TestScatteredPart:
    """Walls of a stated loss in a field all scattered: its part moves as the loss does."""

    def job(self, make, scattered: float, furnishing: str = "1000 m2"):
        plain = make.room(
            assembly=[{"id": "wall", "loss": "20 dB", "reflects": 0.0, "loss-tolerance": "3 dB"},
                      PANE],
            space=[{"id": "room", "storey": "ground", "size": "4 m x 3 m", "height": "2.4 m",
                    "furnishing": furnishing}],
            source=[make.mast(scattered=scattered, **STILL)],
        )  # fmt: skip
        return make.read(plain)

    @pytest.mark.parametrize("scattered", [1.0, 0.3])
    def test_it_moves_by_its_walls_tolerance(self, make, scattered):
        """Everything comes through one product, so the level moves in each draw as its loss."""
        job = self.job(make, scattered)
        nominal, levels = drawn(job, make.few)
        moved_db = draw(job, count=200).tolerances.loss_db("assembly wall", 3.0)
        expected = nominal.receivers[0].level_w_m2 * 10.0 ** (-moved_db / 10.0)
        assert levels.level_w_m2("bed") == pytest.approx(expected, rel=1e-6)

    def test_its_size_is_that_of_the_level(self, make):
        """A field half scattered, half from a beam that misses: both parts keep their weight."""
        both = [drawn(self.job(make, share), make.few, count=20)[1] for share in (0.0, 0.5, 1.0)]
        none, half, whole = (each.level_w_m2("bed") for each in both)
        assert half == pytest.approx(0.5 * (none + whole), rel=1e-6)


def test_what_other_plans_share_leaves_a_plan_as_it_is(make):
    """Draws that plans have in common are added up once: who came before changes nothing."""
    plain = everything(make)
    plain["treatment"].append({"id": "film", "kind": "sheet", "sheet-resistance": "20 ohm/sq"})
    job = make.read(plain)
    casts = cast_job(job, sampling=make.few)
    draws = draw(job, count=20)
    own = Plan(id="own", treatments={"room/W1": ("film",), "room/ceiling": ("coat",)})
    plans = [*job.plans, own]
    together = bench_of(job, casts)
    for plan in [*plans, *plans[::-1]]:  # once before its panel is known to vary, once after
        alone = level_draws(bench=bench_of(job, casts), plan=plan, casts=casts, draws=draws)
        found = level_draws(bench=together, plan=plan, casts=casts, draws=draws)
        for place, expected in alone.by_source.items():
            assert found.by_source[place].level_w_m2 == pytest.approx(
                expected.level_w_m2, rel=1e-12
            )


def test_rows_that_no_plan_changes_have_one_stack(make):
    job = make.read(everything(make))
    bench = bench_of(job, cast_job(job, sampling=make.few))
    varying = varying_rows(bench, job.plans[-1])
    assert varying.any()
    assert not varying.all()
    keys = [
        [stacks.keys[number] for number in stacks.of_row]
        for stacks in (stacks_of(job, plan) for plan in job.plans)
    ]
    for row, of_plans in enumerate(zip(*keys, strict=True)):
        assert varying[row] or len(set(of_plans)) == 1
    opened = replace(job.plans[0], assemblies={"room/ceiling": None})
    assert not varying[_rows_of(job, "room/ceiling")].any()
    assert varying_rows(bench, opened)[_rows_of(job, "room/ceiling")].all()


def _rows_of(job, panel):
    return [patch.index for patch in job.building.patches if patch.panel == panel]


@pytest.mark.parametrize("spread", ["1 deg", "6 deg"])
def test_cones_in_lists_carry_what_a_table_of_rays_by_draws_does(
    room_plain, window_plain, mast_plain, read_job, few, spread
) -> None:
    """The same sum with nothing left out: every ray, every draw."""
    job = read_job(room_plain(opening=[window_plain()], source=[mast_plain(spread=spread)]))
    casts = cast_job(job, sampling=few)
    bench, draws, (source,) = bench_of(job, casts), draw(job, count=700), job.sources
    beam = casts.receivers[0].points[0].wide[source.id]
    sequences = sequences_of(beam, bench).of_ray
    random = np.random.default_rng(11)
    passed = random.random((len(sequences), 2))
    factors = random.random((sequences.max() + 1, 2, draws.count))
    inside = _inside(source=source, index=0, beam=beam, bench=bench, draws=draws)
    cosine = beam.directions @ directions_aside(source, job, draws.aside[0]).T
    share = cosine >= np.minimum(np.cos(source.spread_rad), cosine.max(axis=0))
    moved = np.einsum("rp,rpd->rd", passed, factors[sequences])
    expected = (share * moved).sum(axis=0) / share.sum(axis=0)
    np.testing.assert_allclose(_along(passed, inside, factors), expected, rtol=1e-12)


def test_bands_of_one_mast_are_off_its_direction_together(
    room_plain, window_plain, mast_plain, read_job
) -> None:
    """Alike but for band and id: one direction, whatever the order, and what it moves with it."""
    high = {"band": "2500-2690 MHz"}
    sources = [
        mast_plain(),
        mast_plain(id="above", **high),
        mast_plain(id="beside", azimuth="95 deg"),
    ]
    drawn = {}
    for given in (sources, sources[::-1]):
        job = read_job(room_plain(opening=[window_plain()], source=given))
        draws = draw(job, count=40)
        for index, source in enumerate(job.sources):
            drawn.setdefault(source.id, []).append(draws.aside[index])
    for one, other in drawn.values():
        np.testing.assert_array_equal(one, other)
    (first, *_), (second, *_), (third, *_) = (drawn[each["id"]] for each in sources)
    np.testing.assert_array_equal(first, second)
    assert abs(np.corrcoef(first[:, 0], third[:, 0])[0, 1]) < 0.6


def test_walls_as_thick_as_a_hill_are_drawn_as_numbers(
    room_plain, window_plain, mast_plain, read_job, few
) -> None:
    """What a draw moves by hundreds of powers of ten passes nothing, before and after."""
    thick = {"material": "wood", "thickness": "150 m"}
    rooms = room_plain(
        assembly=[
            {"id": "wall", "layers": [thick]},
            {"id": "pane", "loss": "1 dB"},
        ],
        opening=[window_plain()],
        source=[mast_plain(), mast_plain(id="high", elevation="40 deg")],
    )
    job = read_job(rooms)
    casts = cast_job(job, sampling=few)
    bench, draws = bench_of(job, casts), draw(job, count=200)
    tables = bench.tables(stacks_of(job, job.plans[0]))
    moved = stack_draws(bench=bench, tables=tables, draws=draws, band=0)
    assert moved.factor.max() > 1e10
    with np.errstate(all="raise"):
        assert np.isfinite(np.prod(np.repeat(moved.factor.max(), 16)))
    result = analyze_plan(bench=bench, plan=job.plans[0], casts=casts, draws=draws)
    assert all(np.isfinite(each.high_w_m2) for each in result.receivers)
