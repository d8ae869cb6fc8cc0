"""What a meter's readings scatter by, and what it can show at all.

- Fading of one spot, averages of several: exponential and gamma distributions, computed apart; that
  a diffuse field is so is of D. A. Hill, Electromagnetic Fields in Cavities, 2009.
- Partly correlated errors: JCGM 100:2008 (GUM), combined variance of correlated inputs
  (equation 13; its number from memory).
- Dynamic range: IEEE Std 299-2006; the margin is from memory, the clause is not verified.
"""

import csv
import re
from pathlib import Path

import numpy as np
import pytest

from envelope.survey.covering import pair_sigma_db
from envelope.survey.meter_range import MARGIN_DB
from envelope.survey.noise import noise_of


def rows(quantity: str) -> list[dict[str, str]]:
    path = Path(__file__).parent / "authorities" / "meter_readings.csv"
    with path.open(encoding="utf-8", newline="") as handle:
        found = [row for row in csv.DictReader(handle) if row["quantity"].startswith(quantity)]
    assert found
    return found


def test_a_single_spot_has_the_quantiles_of_an_exponential_deviate() -> None:
    noise = noise_of(shape=1.0, sigma_db=0.1)
    below = np.cumsum(np.exp(noise.log))
    below /= below[-1]
    found = {"standard": noise.spread_db()}
    for word, share in (("median", 0.5), ("5 %", 0.05), ("95 %", 0.95)):
        found[word] = float(np.interp(share, below, noise.grid_db + 0.05))
    for row in rows("fading"):
        word = next(each for each in found if f"; {each}" in row["inputs"])
        assert found[word] == pytest.approx(float(row["value"]), abs=0.06), row["inputs"]


def test_means_of_spots_have_the_standard_error_of_independent_samples() -> None:
    for row in rows("standard error"):
        spots = float(re.search(r"N=(\d+)", row["inputs"])[1])  # type: ignore[index]
        noise = noise_of(shape=spots, sigma_db=0.05)
        weight = np.exp(noise.log) / np.exp(noise.log).sum()
        power = 10.0 ** (noise.grid_db / 10.0)
        relative = float(np.sqrt((power - 1.0) ** 2 @ weight))
        assert 10.0 * np.log10(1.0 + relative) == pytest.approx(float(row["value"]), abs=0.02)


def test_errors_that_two_readings_share_cancel_as_correlated_inputs_do() -> None:
    """Of equal deviations u with correlation r the difference has the variance 2u²(1 − r)."""
    one = float(pair_sigma_db(np.array([1.0]), spots=400)[0])  # nothing in common: r = 0
    none = float(pair_sigma_db(np.array([0.0]), spots=400)[0])  # the same field: r = 1
    fading = 4.342945 / np.sqrt(400.0)  # of the mean of so many, 10/ln 10 over its root
    assert one**2 - none**2 == pytest.approx(2.0 * fading**2, rel=0.02)
    half = float(pair_sigma_db(np.array([0.5]), spots=400)[0])  # r = 1/2 where many are averaged
    assert half**2 - none**2 == pytest.approx(2.0 * fading**2 * 0.5, rel=0.03)


def test_the_margin_is_the_one_that_is_remembered() -> None:
    (row,) = rows("margin")
    assert float(row["value"]) == MARGIN_DB
