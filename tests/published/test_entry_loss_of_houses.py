"""Whole houses of our starter assemblies beside published entry losses.

P. I. Wells, "The attenuation of UHF radio signals by houses", IEEE Trans. Veh. Technol. 26(4),
358–366, 1977: signals of a geostationary satellite inside timber-framed houses of five cities,
one storey with wood siding or brick veneer. Its abstract and a handbook's table of its results
were seen (`authorities/wells_1977.csv`), not the paper: rooms and elevations are ours.

Report ITU-R P.2346 and Recommendation P.2109-2: statistics of many buildings. The Report was not
at hand; of the Recommendation see `test_itu_r_p2109.py`. Our houses lose less, since they lack
what layers cannot express (studs, frames, pipes, radiators, metal lath, furniture deep inside),
stand in the open, and are at most two rooms deep. What is compared is where they lie in it.
"""

import csv
from pathlib import Path

import numpy as np
import pytest
import tomlkit

from envelope.exposure.analysis import analyze
from envelope.exposure.casts import cast_job
from envelope.physics.entry_loss import building_entry_loss_db
from envelope.project import load_text
from envelope.rays import Sampling

FEW = Sampling(points_per_panel=2**8, points=2**11)
WELLS_HZ = {"2.569": "2.569 GHz", "1.550": "1.55 GHz", "0.860": "860 MHz"}
# From five cities between 30° and 47° north the satellite, over 94° west, stood 36° to 55° high
# (geometry; our reckoning).
WELLS_ELEVATION_DEG = 45


def six_rooms(*, wall, roof, glass, bands, elevation_deg, inner="stud-wall"):
    """Two rows of three rooms of 4 × 4 m, ten windows; a receiver a metre wide in each."""
    rooms, openings, receivers = [], [], []
    for number in range(6):
        column, row = number % 3, number // 3
        name = f"room-{number}"
        rooms.append(
            {
                "id": name,
                "storey": "ground",
                "size": "4 m x 4 m",
                "height": "2.45 m",
                "origin": f"{4.1 * column} m, {4.1 * row} m",
                "furnishing": "2 m2",
                "occupants": 0,
            }
        )
        window = {"kind": "window", "at": "1.2 m", "sill": "0.9 m", "size": "1.5 m x 1.2 m"}
        openings.append({"id": f"W{number}", "on": f"{name}/{3 if row else 1}", **window})
        if column != 1:
            openings.append({"id": f"E{number}", "on": f"{name}/{2 if column else 4}", **window})
        receivers.append(
            {"id": f"in-{number}", "space": name, "at": "2, 2, 1.5 m", "size": "1 m x 1 m x 0.3 m"}
        )
    for column in range(3):
        openings.append(
            {"id": f"D{column}", "on": f"room-{column}/3", "kind": "door", "at": "0.3 m",
             "size": "0.8 m x 2 m"}
        )  # fmt: skip
    plain = {
        "format": 1,
        "name": "six rooms",
        "site": {"grade": "-0.3 m"},
        "construction": {
            "exterior-wall": wall,
            "interior-wall": inner,
            "floor": "ground-slab",
            "slab": "ground-slab",
            "roof": roof,
            "window": glass,
            "door": "hollow-wood-door",
        },
        "storey": [{"id": "ground", "floor": "0 m"}],
        "space": rooms,
        "opening": openings,
        "receiver": receivers,
        "source": [
            {
                "id": f"source-{index}",
                "azimuth": "205 deg",
                "elevation": f"{elevation_deg} deg",
                "spread": "0.5 deg",
                "scattered": 0.0,
                "band": band,
                "level": "1000 uW/m2",
            }
            for index, band in enumerate(bands)
        ],
    }
    return load_text(tomlkit.dumps(plain), path="six-rooms.toml")


def losses_db(job, *, with_bands=False):
    """Loss (rooms, sources): level outside over level inside; with bands also its 10–90 %."""
    plan = analyze(
        job=job, casts=cast_job(job, sampling=FEW), with_bands=with_bands, ranked_plans=()
    ).plans[0]
    found = []
    for receiver in plan.receivers:
        row = []
        for source in receiver.sources:
            levels = [source.level_w_m2]
            if with_bands:
                levels += [source.high_w_m2, source.low_w_m2]
            row.append([10.0 * np.log10(source.outside_w_m2 / level) for level in levels])
        found.append(row)
    return np.array(found)


def wells(quantity, inputs):
    """Contribution to the loss; of vertical and horizontal polarization the mean. [dB]"""
    path = Path(__file__).parent / "authorities" / "wells_1977.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        values = [
            float(row["value"])
            for row in csv.DictReader(handle)
            if row["quantity"] == quantity and row["inputs"].startswith(inputs)
        ]
    assert values
    return float(np.mean(values))


@pytest.mark.parametrize(
    ("wall", "construction"), [("timber-wall", "wood siding"), ("brick-veneer-wall", "brick")]
)
def test_satellite_signals_in_timber_houses(wall, construction):
    """The range of every frequency and wall holds the mean that was measured; ours is lower.

    Computed 4.1, 4.4 and 4.8 dB at 0.86, 1.55 and 2.57 GHz, measured 5.5, 6.7 and 7.5 dB over
    both walls. Frequency acts the same way and less; the wall acts less, since
    at 45° most comes in through the roof, which is the same.
    """
    job = six_rooms(
        wall=wall,
        roof="shingle-roof",
        glass="single-glazing",
        bands=WELLS_HZ.values(),
        elevation_deg=WELLS_ELEVATION_DEG,
    )
    mean = losses_db(job, with_bands=True).mean(axis=0)  # (sources, level and band)
    overall = wells("average attenuation", "all")
    built = wells("contribution of construction", construction)
    for (loss, low, high), ghz in zip(mean, WELLS_HZ, strict=True):
        measured = overall + built + wells("contribution of frequency", f"f_GHz={ghz}")
        assert low < measured < high, (ghz, loss)
        assert -4.0 < loss - measured < 0.0, (ghz, loss)
    assert mean[0, 0] > mean[1, 0] > mean[2, 0]  # 2.57, 1.55, 0.86 GHz


# Wall, roof, glass, inner walls; mean over six rooms at 2.57 GHz, 1° high, and its lowest and
# highest room, as computed: recorded, so that a change of the model shows here.
TILED = "ceiling-and-tiled-roof"
TRADITIONAL = {
    ("timber-wall", TILED, "double-glazing", "stud-wall"): (4.5, 2.3, 8.6),
    ("brick-veneer-wall", TILED, "double-glazing", "stud-wall"): (5.6, 3.0, 10.7),
    ("cavity-brick-wall", TILED, "double-glazing", "brick-partition"): (6.4, 2.9, 12.5),
    ("solid-brick-wall", TILED, "single-glazing", "brick-partition"): (6.6, 3.3, 12.4),
    ("concrete-wall", "concrete-roof", "double-glazing", "block-partition"): (11.0, 4.1, 22.4),
}
EFFICIENT = ("foil-insulated-wall", "foil-insulated-roof", "double-low-e", "stud-wall")


def rooms_db(kind):
    wall, roof, glass, inner = kind
    job = six_rooms(
        wall=wall, roof=roof, glass=glass, inner=inner, bands=["2.57 GHz"], elevation_deg=1
    )
    return losses_db(job)[:, 0, 0]


def shares_db(building):
    found, _ = building_entry_loss_db(
        building=building, frequency_hz=[2.57e9], share=[0.1, 0.5, 0.9]
    )
    return found[:, 0]


def test_traditional_houses_lie_in_the_lower_half_of_the_statistics():
    """P.2109-2, traditional, 2.57 GHz: 5.8, 15.3 and 27.8 dB at 10, 50 and 90 %."""
    low, middle, high = shares_db("traditional")
    pooled = []
    for kind, recorded in TRADITIONAL.items():
        rooms = rooms_db(kind)
        assert (rooms.mean(), rooms.min(), rooms.max()) == pytest.approx(recorded, abs=0.6), kind
        assert rooms.mean() < middle
        pooled.extend(rooms)
    assert low - 3.0 < np.mean(pooled) < middle
    assert max(pooled) < high
    # heavier walls lose more, in the order in which the houses are listed
    means = [recorded[0] for recorded in TRADITIONAL.values()]
    assert means == sorted(means)


def test_a_house_of_foil_and_coated_glass_lies_among_the_thermally_efficient():
    """16.6, 30.6 and 48.1 dB: whole foil and coated panes without frames, 21.5 dB."""
    low, middle, _ = shares_db("thermally-efficient")
    rooms = rooms_db(EFFICIENT)
    assert low < rooms.mean() < middle
    assert rooms.mean() == pytest.approx(21.5, abs=0.8)
