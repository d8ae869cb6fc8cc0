"""Every tolerated figure drawn several hundred times: what the 10–90 % band of a level rests on.

Each figure is drawn from its own strata, one draw in each, in an order of its own: a few hundred
draws then have the tenth and ninetieth percentile that they are said to have. Which order it is
follows from the figure's name, so that a figure moves alike in every plan, and two products
independently of one another.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from envelope.building.fitted import Fitted
from envelope.building.job import Job, Source
from envelope.building.sources import MIRRORED
from envelope.building.unknowns import BETWEEN, COATED, Range3, Unknown
from envelope.geometry.plane import Floats
from envelope.physics.normal import normal_deviates
from envelope.physics.tables.occupants import (
    CROSS_SECTION_HIGH_M2,
    CROSS_SECTION_LOW_M2,
    CROSS_SECTION_M2,
)

DRAWS = 300
SEED = 20_117
# Half of a 10–90 % band of a normal deviate, in standard deviations.
TENTH = 1.2815515594457831

# Tolerances, each the half-width of a 10–90 % band. Common practice, no source.
SHEET_RESISTANCE = 0.30  # of a coat's or film's figure
THICKNESS = 0.05
PERMITTIVITY = 0.10  # of what it exceeds that of air
CONDUCTIVITY = 0.30


def strata(name: str, *, count: int, seed: int) -> Floats:
    """Deviates (count + 1,) spread evenly over 0 to 1, after a first one in the middle."""
    random = np.random.default_rng((seed, zlib.crc32(name.encode())))
    return np.concatenate(([0.5], (random.permutation(count) + 0.5) / count))


@lru_cache(maxsize=1024)
def deviates(name: str, *, count: int, seed: int) -> Floats:
    """Normal deviates (count + 1,) with a 10–90 % band of ±1, after a first one of 0.

    The same array every time, and so one that cannot be written to.
    """
    found = np.asarray(normal_deviates(strata(name, count=count, seed=seed)) / TENTH)
    found.flags.writeable = False
    return found


def spread_over(span: Range3, deviate: Floats) -> Floats:
    """Values with the 10–90 % range of an unknown, from deviates with one of ±1."""
    if span.in_ratio:
        up, down = np.log(span.high / span.middle), np.log(span.middle / span.low)
        factor = np.exp(np.where(deviate > 0.0, up, down) * deviate)
        return np.asarray(np.clip(span.middle * factor, span.least, span.most))
    step = np.where(deviate > 0.0, span.high - span.middle, span.middle - span.low)
    return np.clip(span.middle + step * deviate, span.least, span.most)


def over_middle(span: Range3, deviate: Floats) -> Floats:
    """The same values over the middle one, which is what a job's nominal figures have."""
    return spread_over(span, deviate) / span.middle


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerances:
    """Factors on a job's figures, each (count + 1,) with the nominal one first; () without draws.

    A factor belongs to a product: a treatment, an assembly or a material of which the job says
    one figure that holds wherever it is used. A loss that is stated moves by decibels instead.
    """

    count: int = 0
    seed: int = SEED
    chosen: NDArray[np.int64] | None = None  # out of `count`, as readings leave them
    bracket: Floats = field(default_factory=lambda: np.array(0.0))  # −1 low … 1 high

    def _factor(self, what: str, half_width: float) -> Floats:
        if self.count == 0:
            return np.array(1.0)
        return np.asarray(np.exp(np.log1p(half_width) * self.deviate(what)))

    def loss_db(self, product: str, half_width_db: float) -> Floats:
        """On a loss that is stated as such: decibels to add to it."""
        if self.count == 0:
            return np.array(0.0)
        return np.asarray(half_width_db * self.deviate(f"loss of {product}"))

    def sheet_resistance(self, product: str) -> Floats:
        """On the sheet resistance or impedance of a treatment, or of a coat in an assembly."""
        return self._factor(f"sheet resistance of {product}", SHEET_RESISTANCE)

    def thickness(self, product: str) -> Floats:
        """On the thickness of the layers of a treatment or an assembly."""
        return self._factor(f"thickness of {product}", THICKNESS)

    def coated(self, product: str) -> NDArray[np.bool_]:
        """Whether what may be there is, a coat or another material: in one draw of two.

        Nominally it is not.
        """
        if self.count == 0:
            return np.array(False)
        return self.deviate(f"coat of {product}") > 0.0

    def board(self) -> Floats:
        """Where a board of an unknown kind lies between wood (0) and plywood (1)."""
        if self.count == 0:
            return np.array(BETWEEN.middle)
        return spread_over(BETWEEN, self.deviate("unknown board"))

    def deviate(self, name: str) -> Floats:
        """Normal deviates of a figure: see `deviates`."""
        found = deviates(name, count=self.count, seed=self.seed)
        return found if self.chosen is None else found[self.chosen]

    def permittivity(self, material: str) -> Floats:
        """On what a material's permittivity exceeds that of air."""
        return self._factor(f"permittivity of {material}", PERMITTIVITY)

    def conductivity(self, material: str) -> Floats:
        """On a material's loss."""
        return self._factor(f"conductivity of {material}", CONDUCTIVITY)


def deviate_name(each: Unknown) -> str:
    """The name that an unknown figure is drawn by; boards of all assemblies are one."""
    if each.range is BETWEEN:
        return "unknown board"
    if each.range is COATED:
        return f"coat of {each.table} {each.id}"
    return f"{each.key} of {each.table} {each.id}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Draws:
    """Every tolerated figure, drawn; the first of each is the nominal one.

    The model's own error is not among them: it is put on their distribution as a whole.
    """

    tolerances: Tolerances
    level: Floats  # (sources, draws) factors
    aside: Floats  # (sources, draws, 2) where the source stands beside its direction [rad]
    occupant_m2: Floats  # (draws,)
    furnishing_m2: Floats  # (draws, spaces)
    scattered: Floats  # (sources, draws)
    radiated: Floats  # (sources, draws) factors on what a transmitter feeds to rooms
    unknown: Mapping[Unknown, Floats]  # deviates (draws,) of what the job does not state
    fitted: Fitted | None = None  # the readings that they are bound by

    @property
    def count(self) -> int:
        """How many, with the nominal one."""
        return len(self.occupant_m2)

    @property
    def key(self) -> tuple[int, int, int]:
        """Two draws of one job with the same key are the same."""
        chosen = self.tolerances.chosen
        which = 0 if chosen is None else zlib.crc32(chosen.tobytes())
        return self.tolerances.count, self.tolerances.seed, which


def draw(job: Job, *, count: int = DRAWS, seed: int = SEED) -> Draws:
    """Draw every tolerated figure of a job `count` times, after the nominal one.

    Where the job's readings have been solved, the draws are those that they leave, however many
    that are.
    """
    if job.fitted is None:
        return drawn_freely(job, count=count, seed=seed)
    fitted = job.fitted
    return _bound(drawn_freely(job, count=fitted.count, seed=fitted.seed), job, fitted)


def _bound(draws: Draws, job: Job, fitted: Fitted) -> Draws:
    """Draws out of a sample, with levels and duties as readings leave them."""
    chosen = fitted.chosen
    level = draws.level[:, chosen]
    mirrored = {each.id + MIRRORED: each.id for each in job.sources if each.ground_reflection}
    order = [source.id for source in job.sources]
    for index, name in enumerate(order):
        own = fitted.level.get(mirrored.get(name, name))
        if own is None:
            continue
        level[index] = own
        if name in mirrored:  # what is mirrored has what is not scattered
            share = draws.scattered[order.index(mirrored[name])]
            level[index] = own * ((1.0 - share) / (1.0 - share[0]))[chosen]
    unknown = {each: values[chosen] for each, values in draws.unknown.items()}
    for each in unknown:
        if each.table == "source" and each.key == "duty" and each.id in fitted.duty:
            unknown[each] = fitted.duty[each.id]
    return replace(
        draws,
        tolerances=replace(
            draws.tolerances, chosen=chosen, bracket=draws.tolerances.bracket[chosen]
        ),
        level=level,
        aside=draws.aside[:, chosen],
        occupant_m2=draws.occupant_m2[chosen],
        furnishing_m2=draws.furnishing_m2[chosen],
        scattered=draws.scattered[:, chosen],
        radiated=draws.radiated[:, chosen],
        unknown=unknown,
        fitted=fitted,
    )


def _stated_direction(source: Source) -> tuple[float | None, ...]:
    """Azimuth, elevation without the sign that the ground's mirror turns, tolerance. [rad]"""
    return source.azimuth_rad, abs(source.elevation_rad), source.direction_tolerance_rad


def drawn_freely(job: Job, *, count: int = DRAWS, seed: int = SEED) -> Draws:
    """Draw every tolerated figure as the file states it, whatever was read."""

    def normal(name: str) -> Floats:
        return deviates(name, count=count, seed=seed)

    unknown = {each: normal(deviate_name(each)) for each in job.unknowns}
    by_key = {(each.table, each.id, each.key): each for each in job.unknowns}

    def drawn(table: str, name: str, key: str, stated: float) -> Floats:
        each = by_key.get((table, name, key))
        if each is None:
            return np.full(count + 1, stated)
        return spread_over(each.range, unknown[each])

    spaces = [
        drawn("space", space.id, "furnishing", job.furnishing_m2.get(space.id, 0.0))
        for space in job.building.spaces
    ]
    shape = (len(job.sources), count + 1)
    scattered, radiated = np.zeros(shape), np.ones(shape)
    level = np.ones(shape)
    aside = np.zeros((*shape, 2))
    # What the ground mirrors is as strong as its source is, and stands as far below the horizon.
    mirrored = {each.id + MIRRORED: each.id for each in job.sources if each.ground_reflection}
    for index, source in enumerate(job.sources):
        name = mirrored.get(source.id, source.id)
        level[index] = 10.0 ** (
            source.level_tolerance_db / 10.0 * normal(f"level of source {name}")
        )
        if (each := by_key.get(("source", name, "duty"))) is not None:
            level[index] *= over_middle(each.range, unknown[each])
        scattered[index] = source.scattered
        share = drawn("source", name, "scattered", source.scattered)
        if name == source.id:
            scattered[index] = share
        else:  # what is mirrored is the beam alone, which has what is not scattered
            level[index] *= (1.0 - share) / (1.0 - share[0])
        directivity_db = drawn("source", name, "directivity", source.directivity_db)
        radiated[index] = 10.0 ** ((source.directivity_db - directivity_db) / 10.0)
        for axis, word in enumerate(("across", "upward")):
            # bands of one mast are one direction in the file, and off it by the same
            aside[index, :, axis] = source.direction_tolerance_rad * normal(
                f"direction {word} of {_stated_direction(source)}"
            )
        if name != source.id:
            aside[index, :, 1] *= -1.0
    return Draws(
        tolerances=Tolerances(
            count=count, seed=seed, bracket=2.0 * strata("bracket", count=count, seed=seed) - 1.0
        ),
        level=level,
        aside=aside,
        furnishing_m2=np.stack(spaces, axis=1),
        scattered=scattered,
        radiated=radiated,
        unknown=unknown,
        occupant_m2=np.interp(
            strata("occupants", count=count, seed=seed),
            (0.0, 0.5, 1.0),
            (CROSS_SECTION_LOW_M2, CROSS_SECTION_M2, CROSS_SECTION_HIGH_M2),
        ),
    )
