"""What `import envelope` offers: names, types, forms of the results, worked scripts."""

from __future__ import annotations

import csv
import inspect
import io
import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

import envelope

ROOT = Path(__file__).parents[2]
MODELS = ROOT / "models"


@pytest.fixture(scope="module")
def job() -> envelope.Job:
    return envelope.solve_levels(envelope.load(MODELS / "bedroom.toml"))


@pytest.fixture(scope="module")
def casts(job: envelope.Job) -> envelope.Casts:
    return envelope.cast(job, rays="few")


@pytest.fixture(scope="module")
def analysis(job: envelope.Job, casts: envelope.Casts) -> envelope.Analysis:
    return envelope.analyze(job, casts, plans=["as-built", "walls-only"])


class TestNames:
    def test_all_is_what_is_public(self) -> None:
        own = {
            name
            for name in dir(envelope)
            if not name.startswith("_") and not inspect.ismodule(getattr(envelope, name))
        }
        own -= {"annotations", "TYPE_CHECKING", "Any", "Final"}
        assert own | {"__version__"} == set(envelope.__all__)

    def test_every_name_can_be_had_and_says_what_it_is(self) -> None:
        for name in envelope.__all__:
            value = getattr(envelope, name)
            assert isinstance(value, str) if name == "__version__" else value.__doc__

    def test_every_error_is_one_of_the_family(self) -> None:
        for name in envelope.__all__:
            if name.endswith("Error"):
                assert issubclass(getattr(envelope, name), envelope.EnvelopeError)

    def test_an_unknown_name_is_an_attribute_error(self) -> None:
        with pytest.raises(AttributeError, match="has no attribute 'analyse'"):
            envelope.analyse  # type: ignore[attr-defined]  # noqa: B018

    def test_importing_costs_nothing(self) -> None:
        code = (
            "import sys, envelope; dir(envelope); "
            "print(sorted({'numpy', 'numba', 'scipy', 'pydantic', 'pandas'} & set(sys.modules)))"
        )
        answer = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT
        )
        assert answer.stdout.strip() == "[]"

    def test_functions_of_three_parameters_or_more_name_them(self) -> None:
        for name in ("analyze", "cast", "compare", "decide", "load", "solve_levels"):
            function = getattr(envelope, name)
            parameters = inspect.signature(function).parameters
            if len(parameters) > 2:
                for parameter in parameters:
                    assert f"{parameter}" in function.__doc__.split("Parameters")[1], name


class TestForms:
    def test_a_dictionary_is_what_the_command_prints(self, analysis: envelope.Analysis) -> None:
        plain = analysis.to_dict()
        assert json.loads(json.dumps(plain, allow_nan=False)) == plain
        assert [plan["plan"] for plan in plain["plans"]] == ["as-built", "walls-only"]

    @pytest.mark.parametrize("table", ["levels", "sources", "bands", "panels"])
    def test_a_table_has_the_numbers_of_the_records(
        self, analysis: envelope.Analysis, table: str
    ) -> None:
        rows = analysis.rows(table)  # type: ignore[arg-type]
        receiver = analysis.plans[1].receivers[0]
        first = next(row for row in rows if row["plan"] == "walls-only")
        if table == "levels":
            assert len(rows) == 2
            assert first["level_w_m2"] == receiver.level_w_m2
            assert first["low_w_m2"] == receiver.low_w_m2
            assert first["reduction_db"] == receiver.total.reduction_db
        elif table == "sources":
            assert first["source"] == receiver.sources[0].id
            assert first["diffuse_w_m2"] == receiver.sources[0].diffuse_w_m2
        elif table == "bands":
            assert first["frequency_hz"] == receiver.bands[0].frequency_hz
        else:
            assert {row["panel"] for row in rows} == {panel.panel for panel in receiver.panels}
        read = list(csv.DictReader(io.StringIO(analysis.to_csv(table))))  # type: ignore[arg-type]
        assert len(read) == len(rows)
        frame = analysis.to_dataframe(table)  # type: ignore[arg-type]
        assert list(frame.columns) == list(read[0])
        assert len(frame) == len(rows)

    def test_an_unknown_table_is_refused(self, analysis: envelope.Analysis) -> None:
        with pytest.raises(envelope.RangeError, match="it is one of levels, sources, bands"):
            analysis.rows("gaps")  # type: ignore[arg-type]

    def test_without_pandas_the_extra_is_named(
        self, analysis: envelope.Analysis, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setitem(sys.modules, "pandas", None)
        with pytest.raises(envelope.MissingExtraError, match=r"gapcast\[notebook\]"):
            analysis.to_dataframe()

    def test_a_notebook_shows_a_table_in_which_nothing_runs(
        self, job: envelope.Job, casts: envelope.Casts
    ) -> None:
        evil = replace(job, name="<script>alert(1)</script>")
        page = envelope.analyze(evil, casts, plans=["as-built"], ranges=False)._repr_html_()
        assert page.startswith("<table>")
        assert "<script>" not in page
        assert "as-built" in page

    def test_reprs_are_short(
        self, job: envelope.Job, casts: envelope.Casts, analysis: envelope.Analysis
    ) -> None:
        many = replace(job, name="x" * 5000)
        things: list[object] = [
            *(job, many, casts, analysis, job.building, *job.plans, *job.receivers, *job.sources),
            *(*job.treatments.values(), *job.assemblies.values(), job.building.spaces[0]),
            *(job.building.panels[0], analysis.plans[0], analysis.plans[0].receivers[0]),
            *(analysis.plans[0].receivers[0].panels[0], envelope.compare(job, casts, ranges=False)),
        ]
        for thing in things:
            assert len(repr(thing)) < 2000, type(thing)
        house = envelope.load(MODELS / "house.toml")
        for thing in (house, house.building, *house.plans, *house.building.spaces):
            assert len(repr(thing)) < 2000, type(thing)


class TestCalls:
    def test_a_comparison_has_today_first_and_ranges(
        self, job: envelope.Job, casts: envelope.Casts
    ) -> None:
        found = envelope.compare(job, casts, plans=["all-round", "walls-only"])
        assert [row.plan for row in found.plans] == ["as-built", "all-round", "walls-only"]
        today, tight, _ = found.plans
        assert today.below_as_built_db is None
        assert tight.below_low_db is not None
        assert tight.below_as_built_db is not None
        assert tight.below_high_db is not None
        assert tight.below_low_db < tight.below_as_built_db < tight.below_high_db
        assert tight.can_be_told
        assert tight.odds_lower == pytest.approx(1.0, abs=0.01)
        assert json.loads(json.dumps(found.to_dict(), allow_nan=False))
        assert len(found.to_dataframe()) == 3

    def test_without_a_source_the_isotropic_field_is_compared(
        self, job: envelope.Job, casts: envelope.Casts
    ) -> None:
        even = replace(job, sources=(), readings=(), assumed_source=True)
        casts = envelope.cast(even, rays="few")
        _, row = envelope.compare(even, casts, plans=["all-round"]).plans
        assert row.level_w_m2 is None
        assert row.below_as_built_db is not None
        assert row.below_as_built_db > 3.0

    def test_a_wrong_plan_is_refused(self, job: envelope.Job, casts: envelope.Casts) -> None:
        with pytest.raises(envelope.UnknownNameError, match='did you mean "walls-only"'):
            envelope.analyze(job, casts, plans=["walls-ony"])
        wrong = envelope.Plan(id="mine", treatments={"bedroom/cieling": "coating"})
        with pytest.raises(envelope.RecordError, match='did you mean "ceiling"'):
            envelope.compare(job, casts, plans=[wrong])

    def test_a_job_without_a_receiver_has_nothing_to_look_from(self, job: envelope.Job) -> None:
        with pytest.raises(envelope.EnvelopeError, match="no receiver"):
            envelope.cast(replace(job, receivers=()))
        with pytest.raises(envelope.RangeError, match="few, usual, fine"):
            envelope.cast(job, rays="many")  # type: ignore[arg-type]

    def test_casts_of_another_building_are_refused(self, casts: envelope.Casts) -> None:
        with pytest.raises(envelope.StaleCastError):
            envelope.analyze(envelope.load(MODELS / "house.toml"), casts)


def run(script: str) -> SimpleNamespace:
    answer = subprocess.run(
        [sys.executable, str(MODELS / "notebooks" / script), str(MODELS)],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT), "PYTHONUTF8": "1"},
    )
    assert answer.returncode == 0, answer.stderr
    return SimpleNamespace(lines=answer.stdout.splitlines())


class TestWorkedScripts:
    def test_each_script_is_run_here(self) -> None:
        scripts = {path.name for path in (MODELS / "notebooks").glob("*.py")}
        here = {"wall_and_film.py", "which_gap_first.py", "sweep.py"}
        assert scripts == here | {"cluster.py"}  # the last one in test_batch.py

    def test_a_wall_and_a_film(self) -> None:
        lines = run("wall_and_film.py").lines
        assert [line.split(" at ")[0] for line in lines] == ["as-built", "walls", "walls-and-film"]
        assert "dB below today" in lines[-1]

    def test_which_gap_first(self) -> None:
        lines = run("which_gap_first.py").lines
        levels = [float(line.split(": ")[1].split(" ")[0]) for line in lines[1:]]
        assert levels == sorted(levels)
        assert "lower" in lines[1]

    def test_two_hundred_plans_from_one_cast(self) -> None:
        rows = list(csv.DictReader(run("sweep.py").lines))
        assert len(rows) == 200
        levels = [float(row["level_w_m2"]) for row in rows]
        assert min(levels) > 0.0
        # the heaviest film beside the heaviest coat lets less in than the lightest film does
        assert levels[0] < levels[9]


def _documented() -> str:
    text = (ROOT / "DEVELOPERS.md").read_text("utf-8")
    return text.split("```python\n")[1].split("```")[0]


def test_the_documented_example_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(MODELS)
    exec(compile(_documented(), "DEVELOPERS.md", "exec"), {})
