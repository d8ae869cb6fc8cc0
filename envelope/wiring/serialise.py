"""Results of the wiring's field as plain data for JSON."""

from __future__ import annotations

from typing import Any

from envelope.wiring.results import FieldAt, PlanField, Span, WiringResults
from envelope.wiring.words import STATEMENT


def wiring_as_plain(results: WiringResults) -> dict[str, Any]:
    """Everything that was computed; every figure that may vary has `low` and `high`."""
    return {
        "format": 1,
        "statement": STATEMENT,
        "frequency_hz": results.frequency_hz,
        "unknowns": list(results.unknowns),
        "states": results.states,
        "sampled": results.sampled,
        "states_that_agree_with_readings": results.states_left,
        "best_plan": results.winner,
        "plans": [_plan(plan) for plan in results.plans],
        "readings": [
            {
                "id": each.id,
                "plan": each.plan,
                "off": list(each.off),
                "against": "nothing" if each.potential_free else "earth",
                "field_v_m": each.field_v_m,
                "predicted_v_m": _span(each.predicted_v_m),
            }
            for each in results.readings
        ],
        "switch_tests": [
            {
                "off": each.what,
                "before_v_m": each.before_v_m,
                "after_v_m": each.after_v_m,
                "predicted_after_v_m": _span(each.predicted_after_v_m),
            }
            for each in results.tests
        ],
        "before_and_after": [
            {
                "plan": each.plan,
                "against": "nothing" if each.potential_free else "earth",
                "before_v_m": each.before_v_m,
                "after_v_m": each.after_v_m,
                "predicted_ratio": _span(each.predicted_ratio),
            }
            for each in results.changes
        ],
        "readings_leave": {name: list(left) for name, left in results.left_open},
        "best_plan_by_readings": results.winner_left,
        "reach_of_5_v_m": dict(results.reaches_m),
        "elements": results.elements,
        "notes": list(results.notes),
    }


def _span(span: Span) -> dict[str, float]:
    return {"low": span.low, "high": span.high}


def _plan(plan: PlanField) -> dict[str, Any]:
    return {
        "plan": plan.plan,
        "off": list(plan.off),
        "floats": plan.floats,
        "unbonded": plan.unbonded,
        "islands": [
            {
                "panels": list(island.panels),
                "bonds": list(island.bonds),
                "earthed_by_wall": island.earthed_by_wall,
                "leaf": island.leaf,
                "volts": _span(island.volts),
                "bond_current_a": _span(island.current_a),
            }
            for island in plan.islands
        ],
        "receivers": [_receiver(at) for at in plan.receivers],
    }


def _receiver(at: FieldAt) -> dict[str, Any]:
    return {
        "id": at.receiver,
        "field_v_m": _span(at.field_v_m),
        "mean_v_m": _span(at.mean_v_m),
        "greatest_v_m": _span(at.greatest_v_m),
        "by_walls": {walls: _span(span) for walls, span in at.by_walls.items()},
        "over_as_built": _span(at.against_as_built),
        "raised_by": at.raised_by,
        "body_volts": _span(at.body_volts),
        "body_volts_at_10_megohms": _span(at.body_meter_volts),
        "remaining": [
            {
                "off": each.what,
                "kind": each.kind,
                "circuit": each.circuit,
                "field_v_m": _span(each.field_v_m),
                "share": _span(each.share),
            }
            for each in at.remaining
        ],
    }
