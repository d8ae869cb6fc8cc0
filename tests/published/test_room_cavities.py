"""Rooms as cavities against D. A. Hill et al., IEEE Trans. Electromagn. Compat. 36(3), 169–178,
1994, and the decay times of J. B. Andersen et al., IEEE Antennas Propag. Mag. 49(2), 27–33, 2007.

Hill's citation is from memory and his formulas were re-derived by power balance; of Andersen's
article the abstract was seen. Rows of `authorities/room_cavities.csv` were computed apart from
this code: room of 4 × 3.5 × 2.5 m, window of 1.68 m² lit at normal incidence, body of 0.30 m².
They feed the balance with the whole power that comes in (they have no direct beam).
"""

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.physics.bands import cosine_nodes, diffuse_mean
from envelope.physics.cavities import (
    decay_time_s,
    eyring_decay_time_s,
    metal_diffuse_absorption,
    quality_factor,
    skin_depth_m,
)
from envelope.physics.diffuse import OUTSIDE, coupling_matrix, diffuse_densities_w_m2
from envelope.physics.sheets import sheet_reflection, sheet_transmission
from envelope.physics.tables import occupants

VOLUME_M3, SURFACE_M2, WINDOW_M2, F_HZ = 35.0, 65.5, 1.68, 2.45e9


def rows(quantity):
    path = Path(__file__).parent / "authorities" / "room_cavities.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def case_of(row):
    """Window transmissivity, [(area, absorption)] of the walls, bodies' cross-section."""
    text = row["inputs"]
    passed = float(re.search(r"transmissivity ([\d.]+)", text)[1])
    walls = [
        (float(area), float(alpha)) for area, alpha in re.findall(r"\(([\d.]+), ([\d.]+)\)", text)
    ]
    count, each = re.search(r"bodies (\d) x ([\d.]+)", text).groups()
    return passed, walls, int(count) * float(each)


def balance(row):
    """The room's one-by-one matrix and the density inside for 1 W/m² outside."""
    passed, walls, bodies = case_of(row)
    area = np.array([WINDOW_M2, *(area for area, _ in walls)])
    matrix = coupling_matrix(
        area_m2=area,
        space=np.zeros(area.size, dtype=np.int64),
        beyond=np.full(area.size, OUTSIDE),
        reflection=np.array([1.0 - passed, *(1.0 - alpha for _, alpha in walls)]),
        transmission=np.array([passed, *(0.0 for _ in walls)]),
        absorption_m2=np.array([bodies]),
    )
    density = diffuse_densities_w_m2(matrix=matrix, fed_w=[WINDOW_M2 * passed])
    return matrix[0, 0], density[0]


def test_bare_balance():
    """Density inside, loss cross-section, Q and decay time of the worked rooms, nine digits."""
    for row in rows("scalar power density ratio"):
        assert balance(row)[1] == pytest.approx(float(row["value"]), rel=1e-8), row
    for row in rows("mean SE"):
        loss = -10 * np.log10(balance(row)[1])
        assert loss == pytest.approx(float(row["value"]), abs=1e-8)
    for row in rows("total loss cross-section"):
        assert balance(row)[0] == pytest.approx(float(row["value"]), rel=1e-9)
    for row in rows("composite Q"):
        found = quality_factor(
            volume_m3=VOLUME_M3, loss_cross_section_m2=balance(row)[0], frequency_hz=F_HZ
        )
        assert found == pytest.approx(float(row["value"]), rel=1e-8)
    for row in rows("energy decay time"):
        found = decay_time_s(volume_m3=VOLUME_M3, loss_cross_section_m2=balance(row)[0])
        assert 1e9 * found == pytest.approx(float(row["value"]), rel=1e-8)
    for row in rows("60-dB style"):
        found = decay_time_s(volume_m3=VOLUME_M3, loss_cross_section_m2=balance(row)[0])
        assert 1e9 * np.log(1e6) * found == pytest.approx(float(row["value"]), rel=1e-8)


def test_coated_room_with_open_window_is_worse():
    """1 % walls and an open window: more power inside than outside (−2.81 dB)."""
    (coated,) = (row for row in rows("scalar power") if "1% absorptance" in row["inputs"])
    assert -10 * np.log10(balance(coated)[1]) == pytest.approx(-2.810, abs=5e-4)


def test_single_quality_factors():
    (row,) = rows("Q2")
    body = quality_factor(volume_m3=VOLUME_M3, loss_cross_section_m2=0.30, frequency_hz=F_HZ)
    assert body == pytest.approx(float(row["value"]), rel=1e-8)
    (row,) = rows("Q3")  # 4πV/(λ·A/2) is 2πV/(λ·A/4): a diffuse field loses A/4
    window = quality_factor(
        volume_m3=VOLUME_M3, loss_cross_section_m2=WINDOW_M2 / 4, frequency_hz=F_HZ
    )
    assert window == pytest.approx(float(row["value"]), rel=1e-8)


def test_metal_walls():
    for conductivity, start in ((5.8e7, "copper"), (1e6, "1e6")):
        (depth,) = (row for row in rows("skin depth") if row["inputs"].startswith(start))
        found = skin_depth_m(conductivity_s_m=conductivity, frequency_hz=F_HZ)
        assert 1e6 * found == pytest.approx(float(depth["value"]), rel=1e-8)
        (absorbed,) = (
            r for r in rows("diffuse absorptance of metal") if r["inputs"].startswith(start)
        )
        found = metal_diffuse_absorption(conductivity_s_m=conductivity, frequency_hz=F_HZ)
        assert found == pytest.approx(float(absorbed["value"]), rel=1e-8)


def test_decay_times():
    """Sabine's and Eyring's time by absorption (Andersen 2007; Steinböck 2013, abstract seen)."""
    for row in rows("decay time, Sabine"):
        alpha = float(re.search(r"alpha=([\d.]+)", row["inputs"])[1])
        found = decay_time_s(volume_m3=VOLUME_M3, loss_cross_section_m2=SURFACE_M2 * alpha / 4)
        assert 1e9 * found == pytest.approx(float(row["value"]), rel=1e-8)
    (row,) = rows("decay time, Eyring")
    found = eyring_decay_time_s(volume_m3=VOLUME_M3, surface_m2=SURFACE_M2, absorption=0.7)
    assert 1e9 * found == pytest.approx(float(row["value"]), rel=1e-8)


def sheet_means(resistance):
    """Diffuse transmission and reflection of a sheet."""
    cosine, weight = cosine_nodes(count=128)
    passed = sheet_transmission(sheet_resistance_ohm_sq=[resistance], cosine=cosine)
    reflected = sheet_reflection(sheet_resistance_ohm_sq=[resistance], cosine=cosine)
    return [
        float(diffuse_mean(values=values, cosine=cosine, weight=weight)[0])
        for values in (passed, reflected)
    ]


def test_diffuse_means_of_sheets():
    for row in rows("diffuse absorptance of sheet"):
        passed, reflected = sheet_means(float(re.search(r"Rs=([\d.]+)", row["inputs"])[1]))
        assert 1 - passed - reflected == pytest.approx(float(row["value"]), rel=1e-8)
    for row in rows("diffuse transmissivity"):
        resistance = float(re.search(r"Rs=([\d.]+)", row["inputs"])[1])
        assert sheet_means(resistance)[0] == pytest.approx(float(row["value"]), rel=1e-8)
    (row,) = rows("effective wall")
    assert 1 - sheet_means(50.0)[1] == pytest.approx(float(row["value"]), rel=1e-8)


@pytest.mark.parametrize(
    ("window_m2", "bodies_m2", "expected_db", "printed"),
    [
        (0.0, 0.0, float(rows("same, empty")[0]["value"]), 1e-7),
        (0.0, 0.3, 15.980, 5e-4),
        (WINDOW_M2, 0.3, float(rows("same as SE")[0]["value"]), 1e-7),
    ],
)
def test_even_field_outside(window_m2, bodies_m2, expected_db, printed):
    """All faces 5 Ω/sq in an even field: half of the sheet's 31.7 dB, a third with a window."""
    passed, reflected = sheet_means(5.0)
    area = np.array([SURFACE_M2 - window_m2, window_m2])
    through = np.array([passed, 1.0])
    matrix = coupling_matrix(
        area_m2=area,
        space=np.zeros(2, dtype=np.int64),
        beyond=np.full(2, OUTSIDE),
        reflection=np.array([reflected, 0.0]),
        transmission=through,
        absorption_m2=np.array([bodies_m2]),
    )
    density = diffuse_densities_w_m2(matrix=matrix, fed_w=[area @ through / 4])
    assert -10 * np.log10(density[0]) == pytest.approx(expected_db, abs=printed)


def test_worked_room_beside_a_direct_beam():
    """Fed with what the first hit reflects: 10.15 dB where the bare balance says 7.141 dB."""
    matrix = coupling_matrix(
        area_m2=np.array([WINDOW_M2, SURFACE_M2 - WINDOW_M2]),
        space=np.array([0, 0]),
        beyond=np.full(2, OUTSIDE),
        reflection=np.array([0.0, 0.5]),
        transmission=np.array([1.0, 0.0]),
        absorption_m2=np.array([0.3]),
    )
    density = diffuse_densities_w_m2(matrix=matrix, fed_w=[[WINDOW_M2], [0.5 * WINDOW_M2]])
    assert -10 * np.log10(density[0, 0]) == pytest.approx(7.141, abs=5e-4)
    assert -10 * np.log10(density[1, 0]) == pytest.approx(10.15, abs=5e-3)


def test_occupant():
    """Melia et al. 2013 (abstract): 0.18–0.45 m²; Bamba et al. read as Sabine areas lie inside."""
    (row,) = rows("human body")
    low, high = (float(part) for part in row["value"].split("-"))
    assert (low, high) == (occupants.CROSS_SECTION_LOW_M2, occupants.CROSS_SECTION_HIGH_M2)
    assert low < occupants.CROSS_SECTION_M2 < high
    (row,) = rows("contrary value")
    for area in re.findall(r"[\d.]+", row["value"]):
        assert low < float(area) / 4 < high
