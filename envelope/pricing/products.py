"""What is bought for a treatment, and what a job says of money."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Literal, get_args

from envelope.errors import RangeError
from envelope.pricing.defaults import Defaults
from envelope.pricing.packages import Package

Form = Literal["liquid", "roll", "film", "curtain", "piece"]
FORMS: tuple[str, ...] = get_args(Form)
# Where a liquid belongs: beneath the coating, the coating itself, over it.
Stage = Literal["primer", "coating", "finish"]
STAGES: tuple[str, ...] = get_args(Stage)

# What a package of each form is counted in.
PACKAGE_UNITS: dict[str, str] = {
    "liquid": "litre",
    "roll": "m",
    "film": "m",
    "curtain": "m",
    "piece": "piece",
}

# What pieces are counted by: faces treated, bonds of the coating, electrical boxes in it.
Per = Literal["face", "bond", "box"]
PERS: tuple[str, ...] = get_args(Per)


@dataclass(frozen=True, slots=True, kw_only=True)
class Price:
    """Price of a treatment for one unit of it."""

    amount: Decimal
    currency: str
    unit: str  # "m2", "litre", "roll", "piece", "m"


@dataclass(frozen=True, slots=True, kw_only=True)
class Product:
    """Something bought to carry out a treatment: a coating, its primer, a film, a fabric.

    `spread_rate_m2_l` is of one coat. `coats` is None where the treatment's own number holds, or
    the usual one of a primer or a finish.
    `per_litre_of` makes it an additive: `dose` of its unit goes into each litre of that product.
    """

    id: str
    treatment: str
    form: Form
    title: str = ""
    stage: Stage = "coating"  # of a liquid
    per: Per = "face"  # of pieces
    packages: tuple[Package, ...] = ()
    coats: int | None = None
    spread_rate_m2_l: float | None = None
    spare: float | None = None  # share bought on top; None: the default of its form
    width_m: float | None = None  # of a roll
    overlap_m: float = 0.0  # of one strip over the next
    turn_up_m: float = 0.0  # onto the neighbouring face, at each end of a strip
    trim_m: float = 0.0  # at each edge of a film
    fullness: float = 1.0  # width of a curtain's cloth over the width that it covers
    hem_m: float = 0.0  # added to a curtain's drop
    per_litre_of: str | None = None
    dose: float | None = None
    setup: Decimal = Decimal(0)  # once, where it is used at all
    labour_h_m2: float = 0.0
    trade: str = ""
    lead_days: int | None = None
    one_batch: bool = False
    assumed: tuple[str, ...] = ()  # keys whose figures are the usual ones, not stated

    def __post_init__(self) -> None:
        if self.form == "liquid" and self.per_litre_of is None and self.spread_rate_m2_l is None:
            raise RangeError(f"product {self.id!r}: a liquid needs its spread rate, such as 7 m2/l")
        if self.form in ("roll", "film", "curtain") and self.width_m is None:
            raise RangeError(f"product {self.id!r}: what comes off a roll needs the roll's width")
        if self.form == "roll" and self.width_m is not None and self.overlap_m >= self.width_m:
            raise RangeError(
                f"product {self.id!r}: strips {self.width_m:g} m wide cannot overlap by "
                f"{self.overlap_m:g} m; allowed: less than the width"
            )
        if self.labour_h_m2 > 0.0 and not self.trade:
            raise RangeError(f"product {self.id!r}: labour needs the trade whose hours it takes")

    @property
    def spare_share(self) -> float:
        """Share bought on top of what the faces take."""
        if self.spare is not None:
            return self.spare
        if self.form == "piece":
            return 0.0
        return Defaults().value("spare-liquid" if self.form == "liquid" else "spare-roll")

    def coats_over(self, treatment: int) -> int:
        """Coats of a liquid on a treatment of so many coats: its own, else as its stage has it."""
        if self.coats is not None:
            return self.coats
        return treatment if self.stage == "coating" else Defaults().count(f"coats-{self.stage}")

    @property
    def unit(self) -> str:
        """What it is counted in: litre, m or piece."""
        return PACKAGE_UNITS[self.form]


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """One currency, tax, and hourly rates by trade."""

    currency: str | None = None  # None where no price is stated at all
    tax: Decimal = Decimal(0)  # share of the net amount
    rates: Mapping[str, Decimal] = field(default_factory=dict)  # an hour of each trade
