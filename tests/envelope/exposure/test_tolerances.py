"""Drawn tolerances: few draws have the percentiles that they are said to have."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from envelope.building.job import Job
from envelope.exposure.model_error import SHARED_DB
from envelope.exposure.tolerances import DRAWS, SEED, Tolerances, deviates, draw, strata
from envelope.exposure.uncertainty import band_about

NAMES = [f"figure {number}" for number in range(40)]


@pytest.mark.parametrize("name", NAMES[:5])
def test_the_shipped_draws_have_the_band_of_a_normal_curve(name: str) -> None:
    drawn = deviates(name, count=DRAWS, seed=SEED)
    assert drawn[0] == 0.0
    assert np.quantile(drawn[1:], (0.1, 0.5, 0.9)) == pytest.approx([-1.0, 0.0, 1.0], abs=0.01)
    assert sorted(strata(name, count=DRAWS, seed=SEED)[1:]) == pytest.approx(
        (np.arange(DRAWS) + 0.5) / DRAWS
    )


@pytest.mark.parametrize("level_db", [0.0, 3.0, 6.0])
def test_level_and_model_make_the_band_that_they_should(level_db: float) -> None:
    """Two normal curves, 5 dB and 3 dB: ±5.83 dB, whatever the source is called."""
    expected = math.hypot(SHARED_DB, level_db)
    for name in NAMES:
        drawn = 10.0 ** (level_db * deviates(name, count=DRAWS, seed=SEED) / 10.0)
        band = band_about(drawn, error_db=SHARED_DB)
        found = 10.0 * np.log10([band.low, band.high])
        assert found == pytest.approx([-expected, expected], abs=0.05)


def test_three_figures_together_are_good_to_a_quarter_of_a_decibel() -> None:
    """A level, a coat and a direction, each worth 3 dB, beside the model: ±√(25 + 3·9) dB."""
    expected = math.sqrt(SHARED_DB**2 + 3 * 3.0**2)
    errors = []
    for first in range(0, len(NAMES) - 2, 2):
        moved = sum(deviates(name, count=DRAWS, seed=SEED) for name in NAMES[first : first + 3])
        band = band_about(10.0 ** (3.0 * moved / 10.0), error_db=SHARED_DB)
        errors.append(10.0 * np.log10([1.0 / band.low, band.high]) - expected)
    assert np.sqrt(np.mean(np.square(errors))) < 0.25
    assert abs(np.mean(errors)) < 0.1


def test_a_level_that_is_nothing_in_many_draws_begins_at_nothing() -> None:
    drawn = np.ones(101)
    drawn[1:16] = 0.0
    assert band_about(drawn, error_db=SHARED_DB).low == 0.0
    drawn[1:16] = 1.0
    drawn[1:6] = 0.0  # a twentieth of them: still above nothing
    assert 0.0 < band_about(drawn, error_db=SHARED_DB).low < 0.3


def test_products_move_apart_and_a_product_moves_alike() -> None:
    tried = Tolerances(count=DRAWS)
    one, two = tried.sheet_resistance("treatment a"), tried.sheet_resistance("treatment b")
    assert abs(np.corrcoef(np.log(one[1:]), np.log(two[1:]))[0, 1]) < 0.2
    assert np.array_equal(one, Tolerances(count=DRAWS).sheet_resistance("treatment a"))
    assert one[0] == two[0] == 1.0
    assert np.quantile(one[1:], 0.9) == pytest.approx(1.3, abs=0.01)
    assert Tolerances().sheet_resistance("treatment a") == 1.0


def test_a_mirrored_partner_moves_as_its_source_does(
    room_plain: Callable[..., dict[str, Any]],
    mast_plain: Callable[..., dict[str, Any]],
    read_job: Callable[[Any], Job],
) -> None:
    mast = mast_plain(**{"elevation": "20 deg", "ground-reflection": True})
    drawn = draw(read_job(room_plain(source=[mast, mast_plain(id="other")])))
    first, partner, other = drawn.level
    assert np.array_equal(first, partner)
    assert not np.array_equal(first, other)
    assert np.array_equal(drawn.aside[0] * (1.0, -1.0), drawn.aside[1])


def test_another_source_leaves_a_source_as_it_is_drawn(
    room_plain: Callable[..., dict[str, Any]],
    mast_plain: Callable[..., dict[str, Any]],
    read_job: Callable[[Any], Job],
) -> None:
    alone = draw(read_job(room_plain(source=[mast_plain()])))
    both = draw(read_job(room_plain(source=[mast_plain(id="other"), mast_plain()])))
    assert np.array_equal(alone.level[0], both.level[1])
    assert np.array_equal(alone.aside[0], both.aside[1])
    assert not np.array_equal(both.level[0], both.level[1])
    assert np.array_equal(alone.occupant_m2, both.occupant_m2)


def test_deviates_are_kept_and_cannot_be_written_to():
    first = deviates("thickness of plaster", count=10, seed=1)
    assert deviates("thickness of plaster", count=10, seed=1) is first
    with pytest.raises(ValueError, match="read-only"):
        first[0] = 1.0
