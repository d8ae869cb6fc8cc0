"""What a project file may say of money: currency, tax, hourly rates, and what is bought."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated

from pydantic import Field

from envelope import trade_units
from envelope.building import ranges
from envelope.pricing.products import FORMS, PACKAGE_UNITS, PERS, STAGES, Form, Per, Stage
from envelope.project.schema import fields
from envelope.project.schema.fields import Choice, Number, Quantity
from envelope.project.schema.rooms import Problems, Table

Amount = Annotated[
    trade_units.Amount,
    Quantity(parse=trade_units.parse_amount, what="an amount", example="260 EUR"),
]
HourlyRate = Annotated[
    trade_units.Amount,
    Quantity(parse=trade_units.parse_hourly, what="an hourly rate", example="48 EUR/h"),
]
PackageContent = Annotated[
    trade_units.Content,
    Quantity(parse=trade_units.parse_content, what="a content", example="5 l"),
]
SpreadRate = Annotated[
    float,
    fields.within(ranges.SPREAD_RATE, parse=trade_units.parse_spread_rate, example="7 m2/l"),
]
Labour = Annotated[
    float,
    fields.within(ranges.LABOUR, parse=trade_units.parse_labour, example="0.25 h/m2"),
]
Percent = Annotated[
    Decimal,
    fields.within(ranges.PERCENT, parse=trade_units.parse_percent, example="20 %"),
]
Fullness = Annotated[float, Number(limits=ranges.FULLNESS, example="2.0")]
Dose = Annotated[float, Number(limits=ranges.DOSE, example="0.1")]
Days = Annotated[int, Number(limits=ranges.DAYS, example="10", whole=True)]

Currency = Annotated[
    str,
    fields.Text(
        what="a currency",
        example="EUR",
        pattern=r"[A-Z]{3}",
        allowed="it is three capital letters",
        longest=3,
    ),
]


class Costs(Table):
    """Money in this job: one currency, tax, hourly rates by trade."""

    currency: Currency | None = Field(
        None, description="Default: the one in which prices are stated"
    )
    tax: Percent = Field(Decimal(0), description="On top of net prices; default 0 %")
    rates: Annotated[dict[str, HourlyRate], Field(max_length=50)] = Field(
        default_factory=dict, description="Hourly rates by trade"
    )


class Defaults(Table):
    """Figures of the trade that this job changes; `gapcast library defaults` lists them."""

    spread_rate_primer: SpreadRate | None = None
    spread_rate_coating: SpreadRate | None = None
    spread_rate_finish: SpreadRate | None = None
    coats_primer: fields.Coats | None = None
    coats_finish: fields.Coats | None = None
    spare_liquid: Percent | None = None
    spare_roll: Percent | None = None
    overlap: fields.Distance | None = None
    turn_up: fields.Distance | None = None
    trim: fields.Distance | None = None
    fullness: Fullness | None = None
    hem: fields.Distance | None = None
    curtain_sides: fields.Distance | None = None
    ring_from: fields.Distance | None = None
    ring_to: fields.Distance | None = None
    bond_plate: fields.Dimension | None = None
    probe: fields.Dimension | None = None
    spots: fields.Spots | None = None
    workday: Annotated[float, Number(limits=ranges.WORKDAY, example="8")] | None = Field(
        None, description="Hours on site"
    )

    def problems(self) -> Problems:
        if (
            self.ring_from is not None
            and self.ring_to is not None
            and self.ring_from > self.ring_to
        ):
            yield "ring-from", "ring-from is more than ring-to: a ring has at least the first"

    def value(self, key: str) -> float:
        """The figure of a key that is given, in SI."""
        return float(getattr(self, key.replace("-", "_")))


class Pack(Table):
    """One size in which a product is sold."""

    holds: PackageContent
    price: Amount
    name: fields.Name = ""


class Product(Table):
    """Something bought to carry out a treatment."""

    id: fields.Id
    for_: fields.Reference = Field(description="The treatment that it is bought for")
    form: Annotated[Form, Choice(what="a form", words=FORMS)]
    title: fields.Name = ""
    stage: Annotated[Stage, Choice(what="a stage", words=STAGES)] = Field(
        "coating", description="Of a liquid: primer beneath, the coating, finish over it"
    )
    per: Annotated[Per, Choice(what="what pieces are counted by", words=PERS)] = Field(
        "face", description="Of pieces: one for each face, for each bond, or for each box"
    )
    packs: Annotated[list[Pack], Field(max_length=20)] = Field(default_factory=list)
    coats: fields.Coats | None = Field(
        None, description="Default: the treatment's own; 1 of a primer, 2 of a finish"
    )
    spread_rate: SpreadRate | None = Field(
        None, description="Of one coat of a liquid; default: [defaults]"
    )
    spare: Percent | None = Field(
        None, description="Bought on top; default: [defaults], 0 of a piece"
    )
    width: fields.Dimension | None = Field(None, description="Of a roll")
    overlap: fields.Distance | None = Field(
        None, description="Of one strip over the next; default: [defaults]"
    )
    turn_up: fields.Distance | None = Field(
        None,
        description="Onto the neighbouring face at each end of a strip; default: [defaults]",
    )
    trim: fields.Distance | None = Field(
        None, description="At each edge of a film; default: [defaults]"
    )
    fullness: Fullness | None = Field(
        None, description="Cloth over the width that it covers; default: [defaults]"
    )
    hem: fields.Distance | None = Field(
        None, description="Added to a curtain's drop; default: [defaults]"
    )
    per_litre_of: fields.Reference | None = Field(
        None, description="The liquid that this additive goes into"
    )
    dose: Dose | None = Field(None, description="Of an additive, in its unit for each litre")
    setup: Amount | None = Field(None, description="Once, where it is used at all")
    labour: Labour = Field(0.0, description="Default none")
    trade: fields.Name = ""
    lead: Days | None = Field(None, description="Days until it is delivered")
    one_batch: bool = Field(False, description="Order it in one batch; default false")

    def problems(self) -> Problems:
        unit = PACKAGE_UNITS[self.form]
        for index, pack in enumerate(self.packs):
            if pack.holds.unit != unit:
                yield (
                    f"packs.{index}.holds",
                    f'this holds {pack.holds.unit}s, and form = "{self.form}" is counted in '
                    f"{unit}s",
                )
        if "stage" in self.given() and self.form != "liquid":
            yield "stage", f'stage goes with form = "liquid", not with form = "{self.form}"'
        if "per" in self.given() and self.form != "piece":
            yield "per", f'per goes with form = "piece", not with form = "{self.form}"'
        for key in ("per-litre-of", "dose"):
            other = {"per-litre-of": "dose", "dose": "per-litre-of"}[key]
            if key in self.given() and other not in self.given():
                yield key, f"{key} goes with {other}: state both or none"
