"""What treated areas cost: materials in whole packages, set-ups, labour, tax.

An estimate by area. Goods that are cut from a roll are counted by area and waste here; the take-off
cuts them strip by strip.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import ROUND_HALF_UP, Decimal

from envelope.errors import RangeError
from envelope.pricing.packages import Purchase, cheapest
from envelope.pricing.products import Costs, Price, Product

CENT = Decimal("0.01")
_SQUARE_FOOT_M2 = Decimal("0.09290304")


@dataclass(frozen=True, slots=True, kw_only=True)
class Treated:
    """How much of a treatment a plan has."""

    area_m2: float
    faces: int
    coats: int = 1
    bonds: int = 0  # conductors of it that are bonded
    boxes: int = 0  # electrical boxes in its faces


@dataclass(frozen=True, slots=True, kw_only=True)
class Cut:
    """What a product comes to once it is cut piece by piece; no purchase without packages."""

    quantity: float
    purchase: Purchase | None


@dataclass(frozen=True, slots=True, kw_only=True)
class BillLine:
    """One thing to pay for. `amount` is net; None where its price is not stated."""

    kind: str  # "material", "setup", "labour", "source": what is done about one
    what: str  # product, treatment, trade or source
    treatment: str  # of a source: the measure
    quantity: float
    unit: str
    amount: Decimal | None
    purchase: Purchase | None = None  # of `product.packages`, where it is sold in packages
    product: str = ""  # its id, where the treatment has products

    @property
    def without_product(self) -> bool:
        """Whether it stands for what nobody has chosen yet: the treatment by its area."""
        return self.kind == "material" and not self.product


@dataclass(frozen=True, slots=True, kw_only=True)
class Bill:
    """What a plan costs, line by line."""

    lines: tuple[BillLine, ...]
    currency: str | None
    tax_share: Decimal
    unpriced: tuple[str, ...]  # treatments and trades whose price is missing, and why

    @property
    def net(self) -> Decimal:
        """Sum of the priced lines before tax."""
        return sum((line.amount for line in self.lines if line.amount is not None), Decimal(0))

    @property
    def tax(self) -> Decimal:
        """Tax on the net amount, rounded half up to the cent."""
        return (self.net * self.tax_share).quantize(CENT, rounding=ROUND_HALF_UP)

    @property
    def total(self) -> Decimal:
        """Net amount and tax."""
        return self.net + self.tax


def quantity_of(product: Product, treated: Treated) -> float:
    """How much of a product treated faces take, spare and waste included.

    Parameters
    ----------
    product : Product
        Not an additive: those follow from the litres of another product.
    treated : Treated
        Area, number of faces and coats of the treatment.

    Returns
    -------
    quantity : float
        In the product's unit: litres, metres off the roll, or pieces.
    """
    more = 1.0 + product.spare_share
    if product.form == "piece":
        counts = {"face": treated.faces, "bond": treated.bonds, "box": treated.boxes}
        return counts[product.per] * more
    if product.form == "liquid":
        assert product.spread_rate_m2_l is not None
        coats = product.coats_over(treated.coats)
        return treated.area_m2 * coats / product.spread_rate_m2_l * more
    assert product.width_m is not None
    useful_m = product.width_m - product.overlap_m
    return treated.area_m2 * product.fullness / useful_m * more


def bill_of(
    treated: Mapping[str, Treated],
    *,
    products: Sequence[Product],
    prices: Mapping[str, Price],
    costs: Costs,
    cut: Mapping[str, Cut] | None = None,
) -> Bill:
    """Price what a plan treats.

    Parameters
    ----------
    treated : mapping of str to Treated
        By treatment id; nothing is bought for those of no area and no face.
    products : (n,) Product
        What is bought for treatments. Where a treatment has one, its own price does not count.
    prices : mapping of str to Price
        Prices of treatments by area or piece.
    costs : Costs
        Currency, tax and rates.
    cut : mapping of str to Cut, optional
        By product id: what cutting strips and panes one by one came to, in place of the estimate by
        area.

    Returns
    -------
    bill : Bill
        In an order that depends on ids alone.

    Raises
    ------
    RangeError
        Where packages cannot cover a quantity.
    """
    lines: list[BillLine] = []
    missing: set[str] = set()
    hours: dict[tuple[str, str], float] = {}
    for name in sorted(treated):
        found = treated[name]
        if found.area_m2 <= 0.0 and found.faces == 0:
            continue
        own = sorted((each for each in products if each.treatment == name), key=lambda p: p.id)
        if not own:
            lines.append(_by_unit(name, found, prices.get(name), missing))
            continue
        amounts = {each.id: quantity_of(each, found) for each in own if each.per_litre_of is None}
        for each in own:
            if each.per_litre_of is not None:
                if each.per_litre_of not in amounts:
                    raise RangeError(
                        f"product {each.id!r} goes into {each.per_litre_of!r}, which is no liquid "
                        f"of treatment {name!r}"
                    )
                amounts[each.id] = amounts[each.per_litre_of] * (each.dose or 0.0)
            lines.append(_material(each, amounts[each.id], missing, (cut or {}).get(each.id)))
            if each.setup:
                lines.append(
                    BillLine(
                        kind="setup",
                        what=each.title or each.id,
                        treatment=name,
                        quantity=1.0,
                        unit="piece",
                        amount=each.setup,
                        product=each.id,
                    )
                )
            if each.labour_h_m2:
                key = (each.trade, name)
                hours[key] = hours.get(key, 0.0) + each.labour_h_m2 * found.area_m2
    for (trade, name), time_h in sorted(hours.items()):
        rate = costs.rates.get(trade)
        if rate is None:
            missing.add(f"{trade}: no hourly rate")
        amount = None if rate is None else _cents(rate * Decimal(repr(round(time_h, 6))))
        lines.append(
            BillLine(
                kind="labour", what=trade, treatment=name, quantity=time_h, unit="h", amount=amount
            )
        )
    return Bill(
        lines=tuple(lines),
        currency=costs.currency,
        tax_share=costs.tax,
        unpriced=tuple(sorted(missing)),
    )


def _cents(amount: Decimal) -> Decimal:
    return amount.quantize(CENT, rounding=ROUND_HALF_UP)


def _material(product: Product, quantity: float, missing: set[str], cut: Cut | None) -> BillLine:
    purchase = None
    if cut is not None:
        quantity, purchase = cut.quantity, cut.purchase
    elif product.packages:
        purchase = cheapest(quantity, product.packages)
    if purchase is None:
        missing.add(f"{product.title or product.id}: no packages with prices")
    return BillLine(
        kind="material",
        what=product.title or product.id,
        treatment=product.treatment,
        quantity=quantity,
        unit=product.unit,
        amount=None if purchase is None else purchase.price,
        purchase=purchase,
        product=product.id,
    )


def _by_unit(name: str, found: Treated, price: Price | None, missing: set[str]) -> BillLine:
    """A treatment without products: by area, or by piece where its price is for one."""
    area = Decimal(repr(round(found.area_m2, 9)))
    amount: Decimal | None = None
    quantity, unit = found.area_m2, "m2"
    if price is None:
        missing.add(f"{name}: no price")
    elif price.unit == "m2":
        amount = _cents(price.amount * area)
    elif price.unit == "ft2":
        amount = _cents(price.amount * area / _SQUARE_FOOT_M2)
    elif price.unit == "piece":
        quantity, unit = float(found.faces), "piece"
        amount = _cents(price.amount * found.faces)
    else:
        missing.add(f"{name}: a price for a {price.unit} needs a product that says how far it goes")
    return BillLine(
        kind="material", what=name, treatment=name, quantity=quantity, unit=unit, amount=amount
    )
