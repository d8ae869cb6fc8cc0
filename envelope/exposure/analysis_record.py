"""A whole analysis, and the forms that it takes outside: a dictionary, rows, CSV, HTML."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from envelope.building.job import Solved
from envelope.building.questions import Question
from envelope.errors import UnknownNameError
from envelope.exposure.rests import Rest
from envelope.exposure.results import PlanResult
from envelope.exposure.rows import Row, Table, csv_of, data_frame, html_of, rows_of
from envelope.exposure.serialise import analysis_as_plain


@dataclass(frozen=True, slots=True, kw_only=True)
class Analysis:
    """One job analysed: what is found for each plan."""

    project: str
    threshold_db: float
    plans: tuple[PlanResult, ...]
    notes: tuple[str, ...] = ()
    extrapolated: tuple[str, ...] = ()  # what was used outside the range of its source
    rests: tuple[Rest, ...] = ()  # the figures that move the decision most, where bands were drawn
    solved: tuple[Solved, ...] = ()  # levels that come from readings
    questions: tuple[Question, ...] = ()  # what the job's model leaves open: buy nothing before

    def plan(self, name: str) -> PlanResult:
        """Result of a plan by its id."""
        found = {plan.plan: plan for plan in self.plans}
        if name not in found:
            raise UnknownNameError(f'plan "{name}" was not analysed: {", ".join(found)}')
        return found[name]

    def to_dict(self) -> dict[str, Any]:
        """The whole analysis as plain data, as `gapcast analyze --json` prints it."""
        return analysis_as_plain(self)

    def rows(self, table: Table = "levels") -> list[Row]:
        """One table of the analysis, a dictionary for each row.

        Parameters
        ----------
        table : "levels", "sources", "bands" or "panels"
            "levels" has a row for each plan and receiver; the others one for each source, band
            or panel of these. Units stand in the names; what is infinite stands as None.
        """
        return rows_of(self.to_dict()["plans"], table)

    def to_csv(self, table: Table = "levels") -> str:
        """One table as CSV with a header; see `rows`."""
        return csv_of(self.rows(table))

    def to_dataframe(self, table: Table = "levels") -> Any:
        """One table as a pandas DataFrame; see `rows`.

        Raises
        ------
        MissingExtraError
            Where pandas is not installed.
        """
        return data_frame(self.rows(table))

    def __repr__(self) -> str:
        plans = ", ".join(plan.plan for plan in self.plans[:8])
        more = ", …" if len(self.plans) > 8 else ""
        return f"<Analysis of {self.project[:80]!r}: {len(self.plans)} plans ({plans}{more})>"

    def _repr_html_(self) -> str:
        return html_of(self.rows(), caption=self.project)
