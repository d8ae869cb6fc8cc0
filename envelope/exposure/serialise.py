"""An analysis as plain data for JSON and CSV. Keys are a contract: more may be added, none change.

What is infinite (a loss where nothing passes, a reduction where nothing is left) stands as null.
"""

from __future__ import annotations

import csv
import io
import math
from typing import Any, Protocol

from envelope.building.job import Solved, SourceMeasure
from envelope.building.questions import Question
from envelope.exposure.comparisons import Pair, pairs_among
from envelope.exposure.differences import Difference
from envelope.exposure.rests import Rest
from envelope.exposure.results import (
    BandResult,
    LeakPath,
    LevelSum,
    PanelLeak,
    PlanResult,
    ReceiverResult,
    SourceResult,
    WorstPoint,
)
from envelope.geometry.plane import Floats

Plain = dict[str, Any]


def finite(value: float) -> float | None:
    """The value, or None where it is infinite."""
    return value if math.isfinite(value) else None


def _point(position: Floats) -> list[float]:
    return [float(part) for part in position]


def _leak(leak: PanelLeak) -> Plain:
    return {
        "panel": leak.panel,
        "kind": leak.kind,
        "treatments": list(leak.treatments),
        "area_m2": leak.area_m2,
        "solid_angle_sr": leak.solid_angle_sr,
        "loss_db": finite(leak.loss_db),
        "open_equivalent_solid_angle_sr": leak.open_equivalent_solid_angle_sr,
        "share": leak.share,
        "direct_share": leak.direct_share,
        "treated_with": list(leak.treated_with),
        "level_if_treated_w_m2": leak.level_if_treated_w_m2,
        "below_if_treated_db": None
        if leak.below_if_treated_db is None
        else finite(leak.below_if_treated_db),
        "level_with_all_before_w_m2": leak.level_with_all_before_w_m2,
        "is_gap": leak.is_gap,
    }


def _path(path: LeakPath) -> Plain:
    return {
        "panel": path.panel,
        "kind": path.kind,
        "treatments": list(path.treatments),
        "lit_area_m2": path.lit_area_m2,
        "let_in_m2": path.let_in_m2,
        "loss_db": finite(path.loss_db),
        "level_w_m2": path.level_w_m2,
        "share": path.share,
        "is_gap": path.is_gap,
        "lands": [
            {
                "on": landing.on,
                "area_m2": landing.area_m2,
                "polygons_m": [[_point(corner) for corner in ring] for ring in landing.polygons],
            }
            for landing in path.landings
        ],
    }


def _added(levels: LevelSum) -> Plain:
    return {
        "outside_w_m2": levels.outside_w_m2,
        "direct_w_m2": levels.direct_w_m2,
        "diffuse_w_m2": levels.diffuse_w_m2,
        "level_w_m2": levels.level_w_m2,
        "low_w_m2": levels.low_w_m2,
        "high_w_m2": levels.high_w_m2,
        "reduction_db": finite(levels.reduction_db),
        "below_as_built_db": finite(levels.below_as_built_db),
    }


def _pair(pair: Pair) -> Plain:
    """By how much a plan lies below the one before it."""
    return {
        "receiver": pair.receiver,
        "plan": pair.plan,
        "against": pair.against,
        **_difference(pair.difference),
    }


def _difference(found: Difference) -> Plain:
    return {
        "below_db": finite(found.below_db),
        "low_db": finite(found.low_db),
        "high_db": finite(found.high_db),
        "odds": found.odds,
        "can_be_told": found.can_be_told,
    }


def _band(receiver: ReceiverResult, band: BandResult) -> Plain:
    return {
        "frequency_hz": band.frequency_hz,
        "unshielded_solid_angle_sr": band.unshielded_solid_angle_sr,
        "unshielded_error_sr": band.unshielded_error_sr,
        "open_equivalent_solid_angle_sr": band.open_equivalent_solid_angle_sr,
        "isotropic_reduction_db": finite(band.isotropic_reduction_db),
        "isotropic_below_as_built_db": finite(band.isotropic_below_as_built_db),
        "sources": list(band.sources),
        "total": _added(receiver.in_band(band)) if band.sources else None,
    }


def _source(source: SourceResult) -> Plain:
    return {
        "id": source.id,
        "frequency_hz": source.frequency_hz,
        "outside_w_m2": source.outside_w_m2,
        "direct_w_m2": source.direct_w_m2,
        "diffuse_w_m2": source.diffuse_w_m2,
        "level_w_m2": source.level_w_m2,
        "low_w_m2": source.low_w_m2,
        "high_w_m2": source.high_w_m2,
        "reduction_db": finite(source.reduction_db),
        "below_as_built_db": finite(source.below_as_built_db),
        "round_outside_w_m2": source.round_outside_w_m2,
        "lit_area_m2": source.lit_area_m2,
        "unshielded_area_m2": source.unshielded_area_m2,
        "unshielded_solid_angle_sr": source.unshielded_solid_angle_sr,
        "entries": [{"panel": each.panel, "share": each.share} for each in source.entries],
        "gaps": [_path(path) for path in source.paths if path.is_gap],
        "paths": [
            {"panel": path.panel, "share": path.share} for path in source.paths if path.share > 0.0
        ],
    }


def _worst(worst: WorstPoint | None) -> Plain | None:
    if worst is None:
        return None
    return {
        "position_m": _point(worst.position_m),
        "open_equivalent_solid_angle_sr": worst.open_equivalent_solid_angle_sr,
        "isotropic_reduction_db": finite(worst.isotropic_reduction_db),
        "level_w_m2": worst.level_w_m2,
    }


def receiver_as_plain(receiver: ReceiverResult) -> Plain:
    """One receiver under one plan."""
    return {
        "id": receiver.id,
        "space": receiver.space,
        "position_m": _point(receiver.position_m),
        "points": receiver.points,
        "exposed_solid_angle_sr": receiver.exposed_solid_angle_sr,
        "exposed_above_horizon_sr": receiver.exposed_above_horizon_sr,
        "closure_error_sr": receiver.closure_error_sr,
        "standard_error": receiver.standard_error,
        "unshielded_error": receiver.unshielded_error,
        "asked_error": receiver.asked_error,
        "as_exact_as_asked": receiver.is_as_exact_as_asked,
        "rays": receiver.rays,
        "bands": [_band(receiver, band) for band in receiver.bands],
        "level_w_m2": receiver.level_w_m2,
        "low_w_m2": receiver.low_w_m2,
        "high_w_m2": receiver.high_w_m2,
        "outside_w_m2": receiver.outside_w_m2,
        "reference_hz": receiver.reference.frequency_hz,
        "headline": _added(receiver.headline),
        "against_as_built": None
        if receiver.against_as_built is None
        else _difference(receiver.against_as_built),
        "total": _added(receiver.total) if receiver.sources else None,
        "sources": [_source(source) for source in receiver.sources],
        "gaps": [_leak(leak) for leak in receiver.gaps],
        "panels": [_leak(leak) for leak in receiver.panels],
        "own_share": receiver.own_share,
        "ranked_by": "isotropic" if receiver.isotropic_ranks else "sources",
        "worst": _worst(receiver.worst),
    }


def measure_as_plain(source: str, done: SourceMeasure) -> Plain:
    """What a plan does about a source."""
    return {
        "source": source,
        "do": done.do,
        "power": done.factor,
        "to_m": None if done.position_m is None else _point(done.position_m),
        "space": done.space,
        "cost": float(done.cost),
        "agreed_by": done.agreed_by,
    }


def plan_as_plain(plan: PlanResult) -> Plain:
    """One plan."""
    return {
        "plan": plan.plan,
        "measures": [measure_as_plain(name, each) for name, each in plan.measures.items()],
        "receivers_moved": list(plan.moved),
        "receivers": [receiver_as_plain(receiver) for receiver in plan.receivers],
    }


def solved_as_plain(solved: Solved) -> Plain:
    """A level outside, or a point's EIRP, that comes from readings."""
    return {
        "source": solved.source,
        "quantity": solved.quantity,
        "readings": list(solved.readings),
        "value": solved.value,
        "low": solved.low,
        "high": solved.high,
        "low_95": solved.lowest,
        "high_95": solved.highest,
        "notes": list(solved.notes),
    }


def _rest(rest: Rest) -> Plain:
    return {
        "what": rest.words,
        "moves_db": rest.moves_db,
        "receiver": rest.receiver,
        "plan": rest.plan,
        "is_unknown": rest.is_unknown,
        "taken": rest.taken,
        "settle": rest.settle,
    }


class Analysed(Protocol):
    """What is read of a whole analysis."""

    @property
    def project(self) -> str: ...
    @property
    def threshold_db(self) -> float: ...
    @property
    def plans(self) -> tuple[PlanResult, ...]: ...
    @property
    def notes(self) -> tuple[str, ...]: ...
    @property
    def extrapolated(self) -> tuple[str, ...]: ...
    @property
    def rests(self) -> tuple[Rest, ...]: ...
    @property
    def solved(self) -> tuple[Solved, ...]: ...
    @property
    def questions(self) -> tuple[Question, ...]: ...


def analysis_as_plain(analysis: Analysed) -> Plain:
    """A whole analysis."""
    return {
        "format": 1,
        "project": analysis.project,
        "threshold_db": analysis.threshold_db,
        "plans": [plan_as_plain(plan) for plan in analysis.plans],
        "differences": [_pair(pair) for pair in pairs_among(analysis.plans)],
        "notes": list(analysis.notes),
        "extrapolated": list(analysis.extrapolated),
        "rests_on": [_rest(rest) for rest in analysis.rests],
        "solved": [solved_as_plain(solved) for solved in analysis.solved],
        "questions": [each.as_plain() for each in analysis.questions],
    }


COLUMNS = (
    "plan",
    "receiver",
    "panel",
    "kind",
    "treatments",
    "solid_angle_sr",
    "loss_db",
    "open_equivalent_solid_angle_sr",
    "share",
    "direct_share",
    "treated_with",
    "level_if_treated_w_m2",
    "below_if_treated_db",
)


def gaps_as_csv(analysis: Analysed) -> str:
    """Every gap of every plan and receiver, one row each, with a header."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(COLUMNS)
    for plan in analysis.plans:
        for receiver in plan.receivers:
            for gap in receiver.gaps:
                plain = _leak(gap)
                plain["treatments"] = " ".join(gap.treatments)
                plain["treated_with"] = " ".join(gap.treated_with)
                cells = [plain[column] for column in COLUMNS[2:]]
                writer.writerow(
                    (plan.plan, receiver.id, *("" if cell is None else cell for cell in cells))
                )
    return text.getvalue()
