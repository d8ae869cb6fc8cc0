"""The diffuse field against balances that are put together here from nothing but the tables."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from envelope.exposure.analysis import analyze, bench_of
from envelope.exposure.casts import cast_job
from envelope.exposure.diffuse import absorption_m2, diffuse_of, faces_of, ray_levels
from envelope.exposure.transmission import stacks_of
from envelope.project import load_text


@pytest.fixture
def make(room_plain, window_plain, mast_plain, read_job, analyzed_job, open_sky, few):
    return SimpleNamespace(
        room=room_plain,
        window=window_plain,
        mast=mast_plain,
        read=read_job,
        analyzed=analyzed_job,
        sky=open_sky,
        few=few,
    )


def source_of(analysis, plan: int = 0, receiver: int = 0, source: int = 0):
    return analysis.plans[plan].receivers[receiver].sources[source]


class TestAnEvenField:
    """A lossless room in an even field S₀: τS₀ comes straight, (1 − τ)S₀ is diffuse."""

    @pytest.mark.parametrize("loss_db", [1.0, 3.0, 14.0])
    @pytest.mark.parametrize("shape", [{"size": "4 m x 3 m"}, {"size": "7 m x 1.1 m"}])
    def test_a_lossless_room_fills_up_to_the_level_outside(self, make, loss_db, shape):
        passed = 10 ** (-loss_db / 10)
        plain = make.room(
            site=make.sky,
            assembly=[
                {"id": "wall", "loss": f"{loss_db} dB", "reflects": 1.0 - passed},
                {"id": "pane", "loss": f"{loss_db} dB", "reflects": 1.0 - passed},
            ],
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "height": "2.4 m",
                    "raised": True,
                    "occupants": 0,
                    **shape,
                }
            ],
            receiver=[{"id": "bed", "space": "room", "at": "1.2, 0.6, 0.9 m"}],
            source=[make.mast(scattered=1.0)],
        )
        found = source_of(make.analyzed(make.read(plain)))
        assert found.direct_w_m2 == pytest.approx(passed * 1e-3, rel=1e-6)
        assert found.diffuse_w_m2 == pytest.approx((1.0 - passed) * 1e-3, rel=1e-6)
        assert found.level_w_m2 == pytest.approx(1e-3, rel=1e-6)

    def test_two_lossless_rooms_fill_up_too(self, make):
        passed = 10**-0.3
        plain = make.room(
            site=make.sky,
            assembly=[{"id": "wall", "loss": "3 dB", "reflects": 1.0 - passed}],
            space=[
                {
                    "id": name,
                    "storey": "ground",
                    "height": "2.4 m",
                    "raised": True,
                    "occupants": 0,
                    "size": f"{width} m x 3 m",
                    "origin": f"{x} m, 0 m",
                }
                for name, width, x in (("room", 4, 0), ("next", 2, 4.1))
            ],
            receiver=[
                {
                    "id": name,
                    "space": name,
                    "at": f"{width / 2}, 1.5, 1.2 m",
                    "size": f"{width} m x 3 m x 2.4 m",
                }
                for name, width in (("room", 4), ("next", 2))
            ],
            source=[make.mast(scattered=1.0)],
        )
        plain["assembly"].append({"id": "pane", "loss": "3 dB"})
        for receiver in make.analyzed(make.read(plain)).plans[0].receivers:
            # Less comes straight through the neighbour, so that what is sent back is not quite
            # even, as the balance takes it: 0.06 dB here.
            assert receiver.sources[0].level_w_m2 == pytest.approx(1e-3, rel=0.02)

    def test_transparent_walls_give_no_diffuse_part(self, make):
        plain = make.room(
            assembly=[{"id": "wall", "loss": "0 dB"}, {"id": "pane", "loss": "0 dB"}],
            opening=[make.window(reveal="0.2 m")],
            source=[
                make.mast(scattered=0.5, elevation="10 deg"),
                {
                    "id": "phone",
                    "space": "room",
                    "at": "2, 2, 1 m",
                    "band": "900 MHz",
                    "eirp": "1 W",
                },
            ],
        )
        mast, phone = make.analyzed(make.read(plain)).plans[0].receivers[0].sources
        assert mast.diffuse_w_m2 == phone.diffuse_w_m2 == 0.0
        assert mast.level_w_m2 == pytest.approx(1e-3, rel=1e-9)


class TestOneRoomByHand:
    """A beam through a bare hole of 1.68 m² into a room of 4 × 3.5 × 2.5 m, 65.5 m² in all."""

    HOLE_M2, SURFACE_M2 = 1.4 * 1.2, 2 * (4 * 3.5 + 4 * 2.5 + 3.5 * 2.5)

    def found(self, make, *, reflects: float, pane_db: float | None = None, occupants: int = 1):
        opening = make.window(size="1.4 m x 1.2 m", sill="0.9 m")
        if pane_db is None:
            opening |= {"kind": "open"}
        plain = make.room(
            space=[
                {
                    "id": "room",
                    "storey": "ground",
                    "size": "4 m x 3.5 m",
                    "height": "2.5 m",
                    "occupants": occupants,
                }
            ],
            assembly=[
                {"id": "wall", "loss": "200 dB", "reflects": reflects},
                {"id": "pane", "loss": f"{pane_db or 0} dB", "reflects": 0.0},
            ],
            opening=[opening],
            source=[make.mast(spread="0.01 deg", band="28 GHz")],
        )
        return source_of(make.analyzed(make.read(plain)))

    def balance(self, *, reflects: float, passed: float, bodies_m2: float) -> float:
        walls = (self.SURFACE_M2 - self.HOLE_M2) * (1.0 - reflects) / 4.0
        pane = self.HOLE_M2 / 4.0  # absorbed or passed on: none comes back
        return self.HOLE_M2 * passed * reflects / (walls + pane + bodies_m2)

    @pytest.mark.parametrize("reflects", [0.5, 0.99, 0.1])
    @pytest.mark.parametrize("occupants", [0, 1, 3])
    def test_it_is_the_balance_of_what_is_reflected_at_the_first_hit(
        self, make, reflects, occupants
    ):
        found = self.found(make, reflects=reflects, occupants=occupants)
        expected = self.balance(reflects=reflects, passed=1.0, bodies_m2=0.3 * occupants)
        assert found.diffuse_w_m2 / 1e-3 == pytest.approx(expected, rel=1e-9)

    def test_the_worked_room_lies_ten_decibels_below_outside(self, make):
        """10.15 dB with half of it absorbed at each hit; the bare balance alone has 7.141 dB."""
        found = self.found(make, reflects=0.5)
        assert -10 * math.log10(found.diffuse_w_m2 / 1e-3) == pytest.approx(10.15, abs=0.005)
        assert -10 * math.log10(found.diffuse_w_m2 / 0.5 / 1e-3) == pytest.approx(7.141, abs=5e-4)

    def test_a_pane_scales_it(self, make):
        bare = self.balance(reflects=0.99, passed=1.0, bodies_m2=0.3)
        found = self.found(make, reflects=0.99, pane_db=7.0)
        assert found.diffuse_w_m2 / 1e-3 == pytest.approx(bare * 10**-0.7, rel=1e-9)

    def test_with_tight_bright_walls_it_becomes_the_cavity_formula(self, make):
        """Sc = S A / (A/4 + Σσ) where walls keep all (D. A. Hill et al., 1994, from memory)."""
        found = self.found(make, reflects=1.0 - 1e-12)
        assert found.diffuse_w_m2 / 1e-3 == pytest.approx(
            self.HOLE_M2 / (self.HOLE_M2 / 4 + 0.3), rel=1e-6
        )

    def test_it_vanishes_with_the_reflection(self, make):
        assert self.found(make, reflects=0.0).diffuse_w_m2 == 0.0


class TestCoatingAllButTheWindow:
    def plain(self, make):
        return make.room(
            assembly=[{"id": "wall", "loss": "9 dB"}, {"id": "pane", "loss": "1 dB"}],
            opening=[make.window()],
            receiver=[{"id": "bed", "space": "room", "at": "3.5, 2.5, 0.5 m"}],
            source=[make.mast(azimuth="150 deg", elevation="10 deg", spread="2 deg")],
            treatment=[{"id": "coat", "kind": "fixed", "loss": "30 dB"}],
            plan=[
                {"id": "all-but", "treat": [{"on": on, "with": ["coat"]} for on in (
                    "room/walls", "room/ceiling", "room/floor")]},
                {"id": "all", "extends": "all-but",
                 "treat": [{"on": "room/W1", "with": ["coat"]}]},
            ],
        )  # fmt: skip

    def test_makes_it_worse_away_from_the_beam(self, make):
        plain = self.plain(make)
        # from the south: the beam through the window passes west of the bed
        plain["source"][0]["azimuth"] = "190 deg"
        plain["assembly"][0]["loss"] = "13 dB"
        analysis = make.analyzed(make.read(plain))
        before, coated, tight = (source_of(analysis, plan=k) for k in range(3))
        assert coated.direct_w_m2 < before.direct_w_m2 / 100.0
        assert coated.level_w_m2 > before.level_w_m2
        assert coated.below_as_built_db < 0.0
        assert coated.below_as_built_db == pytest.approx(
            10 * math.log10(before.level_w_m2 / coated.level_w_m2), abs=1e-12
        )
        assert tight.level_w_m2 < before.level_w_m2 / 20.0


def house(make):
    """Three storeys, seven rooms, openings of every kind, materials and treatments in part."""
    spaces = [
        ("kitchen", "low", "0, 0 m", "4 m x 3 m"),
        ("living", "low", "4.1, 0 m", "3 m x 5 m"),
        ("hall", "low", "0, 3.1 m", "4 m x 1.9 m"),
        ("room", "middle", "0, 0 m", "4 m x 3 m"),
        ("study", "middle", "4.1, 0 m", "3 m x 5 m"),
        ("landing", "middle", "0, 3.1 m", "4 m x 1.9 m"),
        ("attic", "top", "0, 0 m", "7.1 m x 5 m"),
    ]
    return make.room(
        site={"grade": "-0.3 m", "reach": "3 m"},
        construction={**make.room()["construction"], "interior-wall": "stud", "floor": "joists",
                      "roof": "tiles"},
        storey=[{"id": n, "floor": f"{2.7 * k} m"} for k, n in enumerate(("low", "middle", "top"))],
        assembly=[
            {"id": "wall", "layers": [{"material": "brick", "thickness": "102 mm"}]},
            {"id": "stud", "layers": [
                {"material": "plasterboard", "thickness": "12.5 mm"},
                {"material": "air", "thickness": "75 mm"},
                {"material": "wood", "thickness": "12 mm"}]},
            {"id": "joists", "layers": [
                {"material": "wood", "thickness": "18 mm"},
                {"material": "air", "thickness": "200 mm"},
                {"material": "plasterboard", "thickness": "12.5 mm"}]},
            {"id": "tiles", "loss": "3 dB"},
            {"id": "pane", "layers": [{"material": "glass", "thickness": "6 mm"}]},
        ],
        space=[{"id": name, "storey": storey, "origin": origin, "size": size, "height": "2.4 m",
                "furnishing": "0.4 m2"} for name, storey, origin, size in spaces],
        opening=[
            make.window(reveal="0.12 m"),
            make.window(id="W2", on="living/east", reveal="0.1 m"),
            make.window(id="W3", on="attic/south"),
            {"id": "D1", "on": "room/north", "kind": "door", "at": "0.5 m", "size": "0.8 m x 2 m"},
            {"id": "D2", "on": "kitchen/east", "kind": "open", "at": "0.5 m",
             "size": "0.9 m x 2 m"},
        ],
        treatment=[
            {"id": "coat", "kind": "sheet", "sheet-resistance": "6 ohm/sq"},
            {"id": "film", "kind": "fixed", "loss": "20 dB"},
        ],
        source=[
            make.mast(azimuth="200 deg", elevation="8 deg", band="1805-1880 MHz"),
            {"id": "router", "space": "kitchen", "at": "3.0, 0.5, 1.1 m", "band": "2.45 GHz",
             "eirp": "20 dBm"},
            {"id": "meter", "at": "-2, -6, 1 m", "band": "868 MHz", "eirp": "14 dBm"},
        ],
        plan=[
            {"id": "some", "treat": [{"on": "room/walls", "with": ["coat"]},
                                     {"on": "room/floor", "with": ["film"]},
                                     {"on": "landing/south", "with": ["coat"]}]},
        ],
    )  # fmt: skip


class TestEnergy:
    @pytest.mark.parametrize("plan", ["as-built", "some"])
    def test_what_goes_into_a_house_is_absorbed_or_leaves_it(self, make, plan):
        """Every watt of every source, followed with tables alone."""
        job = make.read(house(make))
        casts = cast_job(job, sampling=make.few)
        bench = bench_of(job, casts)
        tables = bench.tables(stacks_of(job, job.plan(plan)))
        stacks, faces = tables.stacks, faces_of(job)
        building = job.building
        bodies = absorption_m2(job)
        bins = tables.log_transmission.shape[1]
        cosine = (np.arange(bins) + 0.5) / bins
        for source in job.sources:
            band = bench.bands_hz.index(source.band_hz)
            chain = casts.chains[source.id]
            carried = chain.weights * ray_levels(source, chain, job)
            log_passed, reflected = bench.along(chain, stacks, band)
            passed = np.exp(log_passed)

            # beams: at each hit, in each polarization, so much is sent back, so much kept
            beam_kept = outward = 0.0
            fed = np.zeros(len(building.spaces))
            for ray in range(len(carried)):
                left = np.full(2, 0.5 * carried[ray])
                for entry in range(chain.start[ray], chain.start[ray + 1]):
                    back = left * reflected[entry]
                    beam_kept += float((left * (1.0 - reflected[entry] - passed[entry])).sum())
                    if chain.space[entry] >= 0:
                        fed[chain.space[entry]] += back.sum()
                    else:
                        outward += float(back.sum())
                    left = left * passed[entry]
                outward += float(left.sum())
            assert fed.sum() + beam_kept + outward == pytest.approx(carried.sum(), rel=1e-12)

            # the diffuse field: what it loses through each face, and to bodies, is what was fed
            density = diffuse_of(
                source=source, casts=casts, bench=bench, tables=tables, faces=faces, band=band
            ).from_beam_w_m2
            mean_passed = np.exp(tables.log_transmission[:, :, band]).mean(axis=2) @ cosine
            mean_back = tables.near_reflection[:, :, band].mean(axis=2) @ cosine
            mean_passed, mean_back = (x / cosine.sum() for x in (mean_passed, mean_back))
            taken = float(bodies @ density)
            for patch in building.patches:
                space = building.space_index[building.panel(patch.panel).space]
                stack = stacks.of_face[patch.index]
                arrives = density[space] * patch.area_m2 / 4.0
                taken += arrives * (1.0 - mean_back[stack])
                if patch.far is not None:  # what comes through from the room beyond
                    beyond = building.space_index[building.panel(patch.far).space]
                    taken -= density[beyond] * patch.area_m2 / 4.0 * mean_passed[stack]
            assert taken == pytest.approx(fed.sum(), rel=1e-9)
            assert (density > 0.0).all()

    def test_an_element_passes_the_same_both_ways_and_never_more_than_arrives(self, make):
        job = make.read(house(make))
        casts = cast_job(job, sampling=make.few)
        tables = bench_of(job, casts).tables(stacks_of(job, job.plan("some")))
        passed = np.exp(tables.log_transmission)
        assert (passed + tables.near_reflection).max() <= 1.0 + 1e-12
        for patch in job.building.patches:
            if patch.partner is None:
                continue
            one, two = (tables.stacks.of_face[k] for k in (patch.index, patch.partner))
            assert passed[one] == pytest.approx(passed[two], rel=1e-9)

    def test_a_jamb_sends_back_what_its_wall_does(self, make):
        """A wall that is bright inside and dull outside: the jamb is seen from inside."""
        plain = make.room(
            assembly=[
                {"id": "wall", "layers": [
                    {"sheet-resistance": "1 ohm/sq"},
                    {"material": "brick", "thickness": "102 mm"},
                    {"material": "air", "thickness": "60 mm"},
                    {"material": "wood", "thickness": "20 mm"}]},
                {"id": "pane", "loss": "3 dB"},
            ],
            opening=[make.window(reveal="0.1 m")],
        )  # fmt: skip
        job = make.read(plain)
        casts = cast_job(job, sampling=make.few)
        tables = bench_of(job, casts).tables(stacks_of(job, job.plan("as-built")))
        back = tables.near_reflection[tables.stacks.of_face]
        patches = job.building.patches_of
        (wall,), (sill,) = patches["room/1"], patches["room/W1/sill"]
        assert back[wall.index, 1:].min() > 0.3  # the first bin is grazing: TM enters there
        assert np.array_equal(back[sill.index], back[wall.index])

    def test_a_slot_that_passes_more_than_its_area_does_not_break_the_balance(self, make):
        """A brushed gap of 3 dB under a door in a coated wall: 2.7 times its area of half."""
        plain = make.room(
            opening=[
                {
                    "id": "D1",
                    "on": "room/1",
                    "kind": "door",
                    "at": "1 m",
                    "size": "0.8 m x 2 m",
                    "undercut": "3 mm",
                }
            ],
            assembly=[{"id": "wall", "loss": "30 dB"}, {"id": "pane", "loss": "30 dB"}],
            treatment=[{"id": "brush", "kind": "fixed", "loss": "3 dB", "reflects": 0.4}],
            source=[make.mast(band="1.84 GHz")],
            plan=[{"id": "p", "treat": [{"on": "room/D1/undercut", "with": ["brush"]}]}],
        )
        found = source_of(make.analyzed(make.read(plain)), plan=1)
        assert found.diffuse_w_m2 > 0.0


def test_people_and_furnishing_absorb(make):
    plain = make.room(
        assembly=[{"id": "wall", "loss": "20 dB", "reflects": 0.9}, {"id": "pane", "loss": "0 dB"}],
        opening=[make.window()],
        source=[make.mast()],
    )
    job = make.read(plain)
    assert absorption_m2(job) == pytest.approx([0.3])  # one adult where a receiver is
    casts = cast_job(job, sampling=make.few)
    levels = [
        source_of(analyze(job=replace(job, **changes), casts=casts)).diffuse_w_m2
        for changes in (
            {"occupants": {"room": 0}},
            {},
            {"furnishing_m2": {"room": 2.0}},
            {"occupants": {"room": 4}, "furnishing_m2": {"room": 2.0}},
        )
    ]
    assert levels == sorted(levels, reverse=True)
    assert levels[0] > levels[-1] * 1.5


def test_in_the_sample_house_coated_walls_keep_the_routers_energy_in(make):
    """The room below shines in through the bare floor; coated walls no longer let it out."""
    text = (Path(__file__).parents[3] / "models" / "house.toml").read_text(encoding="utf-8")
    job = load_text(text, path="house.toml")
    job = replace(job, receivers=job.receivers[:1])
    casts = cast_job(job, sampling=make.few)
    plans = {plan.plan: plan for plan in analyze(job=job, casts=casts).plans}
    before, coated, tight = (
        {source.id: source for source in plans[name].receivers[0].sources}
        for name in ("as-built", "walls-only", "all-round")
    )
    router = "kitchen-router"
    assert coated[router].below_as_built_db < -1.0
    assert coated[router].direct_w_m2 <= before[router].direct_w_m2 * (1 + 1e-9)
    assert coated[router].diffuse_w_m2 > 1.5 * before[router].diffuse_w_m2
    assert coated["mast"].below_as_built_db > 1.0  # what they were put up against
    assert tight[router].below_as_built_db > 10.0
