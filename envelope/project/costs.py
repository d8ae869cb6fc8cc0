"""Currency, tax, rates and products of a job, from their tables."""

from __future__ import annotations

from collections import Counter
from decimal import ROUND_FLOOR, Decimal

from envelope.errors import RangeError
from envelope.pricing.defaults import Defaults
from envelope.pricing.packages import STEP, Package
from envelope.pricing.products import Costs, Product
from envelope.project.faults import Faults
from envelope.project.schema import job as schema
from envelope.project.tables import Tables
from envelope.project.toml.scan import Path


def costs_of(tables: Tables, faults: Faults) -> tuple[Costs, tuple[Product, ...]]:
    """Money and products of a job; every amount is in one currency."""
    stated = list(_currencies(tables))
    currency = tables.costs.currency or _most_common(stated)
    for path, other in stated:
        if other != currency:
            faults.add(
                path,
                f"this is in {other}, and the job counts in {currency}: one currency is allowed, "
                "so convert it",
            )
    costs = Costs(
        currency=currency,
        tax=tables.costs.tax,
        rates={trade: rate.amount for trade, rate in tables.costs.rates.items()},
    )
    products = []
    defaults = defaults_of(tables)
    for index, table in tables.of(schema.Product):
        try:
            products.append(_product(table, defaults))
        except RangeError as error:
            faults.add(("product", index), str(error))
    return costs, tuple(products)


def _most_common(stated: list[tuple[Path, str]]) -> str | None:
    """The currency that most prices are in; of two alike the first by name, not by place."""
    counts = Counter(currency for _, currency in stated)
    return min(counts, key=lambda name: (-counts[name], name)) if counts else None


def _currencies(tables: Tables) -> list[tuple[Path, str]]:
    found: list[tuple[Path, str]] = []
    for trade, rate in tables.costs.rates.items():
        found.append((("costs", "rates", trade), rate.currency))
    for index, treatment in tables.of(schema.Treatment):
        if treatment.price is not None:
            found.append((("treatment", index, "price"), treatment.price.currency))
    for index, source in tables.of(schema.Source):
        for number, measure in enumerate(source.may or ()):
            if measure.cost is not None:
                found.append((("source", index, "may", number, "cost"), measure.cost.currency))
    for index, product in tables.of(schema.Product):
        if product.setup is not None:
            found.append((("product", index, "setup"), product.setup.currency))
        for number, pack in enumerate(product.packs):
            found.append((("product", index, "packs", number, "price"), pack.price.currency))
    return found


def defaults_of(tables: Tables) -> Defaults:
    """Figures of the trade that the job changes."""
    table = tables.defaults
    return Defaults(changed={key: float(table.value(key)) for key in sorted(table.given())})


_USUAL = {  # keys of a product by form, each with the row that stands in for it
    "liquid": {"spread-rate": "spread-rate-{stage}", "spare": "spare-liquid"},
    "roll": {"overlap": "overlap", "turn-up": "turn-up", "spare": "spare-roll"},
    "film": {"trim": "trim", "spare": "spare-roll"},
    "curtain": {"fullness": "fullness", "hem": "hem", "spare": "spare-roll"},
    "piece": {},
}


def _product(table: schema.Product, defaults: Defaults) -> Product:
    """A product; what its table leaves open is the usual."""
    usual = {
        key: row.format(stage=table.stage)
        for key, row in _USUAL[table.form].items()
        if key not in table.given() and table.per_litre_of is None
    }
    coats = table.coats
    if coats is None and table.form == "liquid" and table.stage != "coating":
        coats = defaults.count(f"coats-{table.stage}")

    def figure(key: str, stated: float | Decimal | None, otherwise: float) -> float:
        if key in usual:
            return defaults.value(usual[key])
        return otherwise if stated is None else float(stated)

    return Product(
        id=table.id,
        treatment=table.for_,
        form=table.form,
        title=table.title,
        stage=table.stage,
        per=table.per,
        packages=tuple(
            Package(
                holds=Decimal(repr(pack.holds.holds)).quantize(STEP, rounding=ROUND_FLOOR),
                price=pack.price.amount,
                name=pack.name,
            )
            for pack in table.packs
        ),
        coats=coats,
        spread_rate_m2_l=defaults.value(usual["spread-rate"])
        if "spread-rate" in usual
        else table.spread_rate,
        spare=figure("spare", table.spare, 0.0),
        width_m=table.width,
        overlap_m=figure("overlap", table.overlap, 0.0),
        turn_up_m=figure("turn-up", table.turn_up, 0.0),
        trim_m=figure("trim", table.trim, 0.0),
        fullness=figure("fullness", table.fullness, 1.0),
        hem_m=figure("hem", table.hem, 0.0),
        per_litre_of=table.per_litre_of,
        dose=table.dose,
        setup=Decimal(0) if table.setup is None else table.setup.amount,
        labour_h_m2=table.labour,
        trade=table.trade,
        lead_days=table.lead,
        one_batch=table.one_batch,
        assumed=tuple(sorted(usual)),
    )
