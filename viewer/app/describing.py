"""Assemblies, treatments, money and trials in words, for the pages."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal

from envelope.building.job import Assembly, Layer, Treatment
from envelope.pricing.bill import Bill
from envelope.text import frequency, grouped, thickness
from envelope.text.names import shown
from viewer.app import protocol
from viewer.app.outlook import Choice


def bill_told(bill: Bill) -> protocol.BillTold:
    """What a plan costs; without a price for anything there is no total."""
    priced = any(line.amount is not None for line in bill.lines)
    total = money(bill.total, bill.currency) + with_tax(bill)
    return {
        "total": total if priced or not bill.lines else None,
        "unpriced": [shown(each, limit=80) for each in bill.unpriced],
    }


def with_tax(bill: Bill) -> str:
    """Says that an amount holds the tax: the steps to take are told before it."""
    return " with tax" if bill.tax else ""


def money(amount: Decimal, currency: str | None) -> str:
    """An amount to the cent with its currency, which is unknown where nothing has a price."""
    return f"{grouped(float(amount), 2)}\u00a0{currency}" if currency else "0"


def choice_told(
    choice: Choice, *, now: Choice, bill: Bill | None, bill_now: Bill | None
) -> protocol.ChoiceTold:
    """A choice beside what stands now; `more` says what it costs more, where all has a price."""
    below = choice.reduction_db - now.reduction_db
    more = None
    if bill and bill_now and bill.currency and not (bill.unpriced or bill_now.unpriced):
        amount = bill.total - bill_now.total
        sign = "+" if amount > 0 else "−" if amount < 0 else "±"
        more = f"{sign}{money(abs(amount), bill.currency)}{with_tax(bill)}"
    return {
        "treatments": list(choice.treatments),
        "level_w_m2": _finite(choice.level_w_m2),
        "reduction_db": _finite(choice.reduction_db),
        "below_now_db": _finite(below),
        "more": more,
    }


def _finite(value: float | None) -> float | None:
    return None if value is None or not math.isfinite(value) else value


def layers_said(assembly: Assembly, *, feet: bool) -> str:
    """What an assembly is, on one line."""
    if assembly.layers:
        return ", ".join(_layer_said(layer, feet=feet) for layer in assembly.layers)
    if assembly.loss is not None:
        return "a stated loss: " + _losses_said(
            assembly.loss.frequencies_hz, assembly.loss.losses_db
        )
    return f"material class {shown(assembly.entry_loss or '')}"


def treatment_said(treatment: Treatment, *, feet: bool) -> str:
    """What a treatment is, on one line."""
    words = []
    if treatment.sheet_resistance_ohm_sq is not None:
        words.append(f"{treatment.sheet_resistance_ohm_sq:g} Ω per square")
        if treatment.coats > 1:
            words.append(f"{treatment.coats} coats")
    if treatment.pitch_m is not None and treatment.wire_diameter_m is not None:
        words.append(
            f"mesh, {1e3 * treatment.pitch_m:g} mm by {1e3 * treatment.wire_diameter_m:g} mm wire"
        )
    curve = treatment.table or treatment.loss
    if curve is not None:
        words.append(_losses_said(curve.frequencies_hz, curve.losses_db))
    words += [_layer_said(layer, feet=feet) for layer in treatment.layers]
    if treatment.price is not None:
        price = treatment.price
        words.append(f"{price.amount} {price.currency} per {price.unit}")
    if treatment.note:
        words.append(shown(treatment.note, limit=120))
    return ", ".join(words)


def _layer_said(layer: Layer, *, feet: bool) -> str:
    if layer.material is None:
        return f"sheet of {layer.sheet_resistance_ohm_sq:g} Ω per square"
    return f"{shown(layer.material)} {thickness(layer.thickness_m, feet=feet)}"


def _losses_said(frequencies_hz: Sequence[float], losses_db: Sequence[float]) -> str:
    if not frequencies_hz:
        return f"{losses_db[0]:g} dB"
    return ", ".join(
        f"{loss:g} dB at {frequency(at)}"
        for at, loss in zip(frequencies_hz, losses_db, strict=True)
    )
