"""Plans side by side: the level of each at each receiver, and by how much it lies below today's."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from typing import Any

from envelope.building.job import AS_BUILT
from envelope.exposure.analysis_record import Analysis
from envelope.exposure.differences import difference
from envelope.exposure.rows import Row, csv_of, data_frame, html_of


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparedPlan:
    """One plan at one receiver, beside the plan without treatment.

    Without a source in the job, levels are None, and the reduction is that of an isotropic field.
    """

    plan: str
    receiver: str
    level_w_m2: float | None
    low_w_m2: float | None  # 10–90 % range
    high_w_m2: float | None
    below_as_built_db: float | None  # None for as-built itself; negative where it got worse
    below_low_db: float | None  # 10–90 % range, from draws that both plans share
    below_high_db: float | None
    odds_lower: float | None  # how likely the level is lower than as-built, 0 to 1
    can_be_told: bool | None  # whether the whole range lies on one side of no difference


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Plans of a job beside the plan without treatment, a row for each plan and receiver."""

    project: str
    plans: tuple[ComparedPlan, ...]

    def rows(self) -> list[Row]:
        """A dictionary for each plan and receiver; what is infinite stands as None."""
        return [{key: _finite(value) for key, value in asdict(each).items()} for each in self.plans]

    def to_dict(self) -> dict[str, Any]:
        """The comparison as plain data."""
        return {"format": 1, "project": self.project, "plans": self.rows()}

    def to_csv(self) -> str:
        """The rows as CSV with a header."""
        return csv_of(self.rows())

    def to_dataframe(self) -> Any:
        """The rows as a pandas DataFrame.

        Raises
        ------
        MissingExtraError
            Where pandas is not installed.
        """
        return data_frame(self.rows())

    def __repr__(self) -> str:
        return f"<Comparison of {self.project[:80]!r}: {len(self.plans)} rows>"

    def _repr_html_(self) -> str:
        return html_of(self.rows(), caption=self.project)


def _finite(value: Any) -> Any:
    return None if isinstance(value, float) and not math.isfinite(value) else value


def compared(analysis: Analysis) -> Comparison:
    """Set an analysis with the plan without treatment and ranges out as a comparison."""
    return Comparison(project=analysis.project, plans=tuple(_plans(analysis)))


def _plans(analysis: Analysis) -> Iterator[ComparedPlan]:
    as_built = analysis.plan(AS_BUILT)
    for plan in analysis.plans:
        for receiver in plan.receivers:
            level = receiver.level_w_m2 if receiver.sources else None
            treated = plan is not as_built
            found = None
            if treated and as_built.draws is not None and plan.draws is not None:
                found = difference(as_built.draws, plan.draws, receiver.id)
            below = found.below_db if found is not None else None
            if treated and below is None:
                below = (
                    receiver.total.below_as_built_db
                    if receiver.sources
                    else receiver.headline.below_as_built_db
                )
            yield ComparedPlan(
                plan=plan.plan,
                receiver=receiver.id,
                level_w_m2=level,
                low_w_m2=receiver.low_w_m2,
                high_w_m2=receiver.high_w_m2,
                below_as_built_db=below,
                below_low_db=None if found is None else found.low_db,
                below_high_db=None if found is None else found.high_db,
                odds_lower=None if found is None else found.odds,
                can_be_told=None if found is None else found.can_be_told,
            )
