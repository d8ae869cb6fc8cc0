"""How a room's field follows a source that stands beside its stated direction."""

from __future__ import annotations

import numpy as np
import pytest

from envelope.survey.direction_tolerance import LEAST, field_factors

STEP = 0.1


def factors(fields: list[float], aside: list[list[float]]) -> np.ndarray:
    column = np.array(fields)[:, np.newaxis]
    return field_factors(column, step_rad=STEP, aside=np.array(aside))[:, 0]


def test_at_a_tolerance_aside_it_is_what_was_worked_out_there() -> None:
    fields = [2.0, 6.0, 1.0, 4.0, 0.5]
    aside = [[0.0, 0.0], [STEP, 0.0], [-STEP, 0.0], [0.0, STEP], [0.0, -STEP]]
    assert 2.0 * factors(fields, aside) == pytest.approx(fields)


def test_in_between_decibels_are_straight_and_axes_add() -> None:
    found = factors([1.0, 4.0, 1.0, 9.0, 1.0], [[0.5 * STEP, 0.5 * STEP], [-STEP, 0.5 * STEP]])
    assert found == pytest.approx([2.0 * 3.0, 3.0])


def test_beyond_two_tolerances_nothing_is_drawn_out_farther() -> None:
    assert factors([1.0, 3.0, 1.0, 1.0, 1.0], [[9.0 * STEP, 0.0]]) == pytest.approx([9.0])


@pytest.mark.parametrize("said", [0.0, 1e-320, 1e-30])
def test_where_the_stated_direction_is_blocked_factors_stay_finite(said: float) -> None:
    """Behind an obstacle nothing comes from there, and a great deal from beside it."""
    found = factors([said, 1.0, 0.0, 1.0, 1.0], [[STEP, 0.0], [-STEP, 0.0], [2 * STEP, 2 * STEP]])
    assert found == pytest.approx([1.0 / LEAST, 1.0, LEAST**-4.0])
