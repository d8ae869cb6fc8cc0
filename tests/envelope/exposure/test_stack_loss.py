"""A stack by itself, against thin-sheet theory and the physics it is made of."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.exposure.stack_loss import further_coats, judge

Z0 = 376.7303134


@pytest.fixture
def job(room_plain: Callable[..., dict[str, Any]], read_job: Callable[[Any], Job]) -> Job:
    return read_job(
        room_plain(
            treatment=[
                {"id": "coat", "kind": "sheet", "sheet-resistance": "5 ohm/sq", "coats": 1},
                {"id": "cloth", "kind": "fixed", "loss": "12 dB"},
            ]
        )
    )


def test_a_sheet_alone_gives_the_published_figures(job: Job) -> None:
    """5 Ω/sq: 31.748 dB head-on, 26.866 dB in a diffuse field (thin-sheet theory; check values of
    `published/authorities/thin_sheets.csv`)."""
    found = judge(job, assembly=None, treatments=["coat"], frequency_hz=np.array([2.45e9]))
    assert found.loss_db[0, 0, 0] == pytest.approx(31.748, abs=5e-4)
    assert found.loss_db[0, 0, 1] == pytest.approx(31.748, abs=5e-4)
    assert found.diffuse_loss_db[0] == pytest.approx(26.866, abs=5e-4)
    at_60 = 20 * np.log10([1 + Z0 / (2 * 5 * 0.5), 1 + Z0 * 0.5 / (2 * 5)])
    np.testing.assert_allclose(found.loss_db[0, 3], at_60, rtol=1e-9)
    assert found.extrapolated == ()


def test_a_mesh_beyond_a_tenth_of_the_wavelength_is_flagged(
    room_plain: Callable[..., dict[str, Any]], read_job: Callable[[Any], Job]
) -> None:
    """25 mm from wire to wire: a tenth of the wavelength at 1.199 GHz."""
    mesh = {"id": "net", "kind": "mesh", "wire": "1 mm", "pitch": "25 mm", "metal": "copper"}
    job = read_job(room_plain(treatment=[mesh]))

    def flags(at: float) -> tuple[str, ...]:
        return judge(
            job, assembly=None, treatments=["net"], frequency_hz=np.array([at])
        ).extrapolated

    assert flags(1.19e9) == ()
    assert flags(1.21e9) == ("treatment net (a mesh, above 1.199 GHz; at 1.21 GHz)",)


def test_each_further_coat_halves_and_thirds_the_resistance(job: Job) -> None:
    (coats,) = further_coats(
        job, assembly=None, treatments=["coat", "cloth"], frequency_hz=np.array([2.45e9])
    )
    assert coats.treatment == "coat"
    assert coats.coats == (1, 2, 3, 4)
    alone = judge(job, assembly=None, treatments=["coat"], frequency_hz=np.array([2.45e9]))
    assert coats.diffuse_loss_db[0, 0] == pytest.approx(alone.diffuse_loss_db[0] + 12.0)
    assert (np.diff(coats.diffuse_loss_db[:, 0]) > 0).all()


def test_a_fixed_loss_is_the_same_everywhere_and_reflects(job: Job) -> None:
    found = judge(job, assembly=None, treatments=["cloth"], frequency_hz=np.array([1e9, 5e9]))
    np.testing.assert_allclose(found.loss_db, 12.0)
    np.testing.assert_allclose(found.reflection, (1 - 10**-0.6) ** 2)
