"""Lots: the fish to stock, those that are there, and what limits them."""

from itertools import pairwise

from pydantic import Field, model_validator

from toolbox.stocking.bases import Basis, check_basis
from toolbox.stocking.keys import (
    Amount,
    Celsius,
    Kilograms,
    Metres,
    MonthDay,
    Name,
    Part,
    PriceText,
    Remark,
    Share,
    Source,
)
from toolbox.stocking.rates import Price, Rate, Total, amount

__all__ = ["Existing", "Fish", "Limit", "Season", "Step"]


class Fish(Part):
    """One lot: a species and a size."""

    name: Name = Field(description="What the lot is called in this file.")
    species: Name = Field(description="Species, as in the table of suitable water.")
    stage: Remark = Field("", description="Such as fry, fingerling, yearling.")
    mean_length: Metres | None = Field(
        None, description="Total length, such as '5 cm' or '2 inch'."
    )
    mean_weight: Kilograms | None = Field(None, description="Of one fish, such as '1.2 g'.")
    origin: Remark = Field("", description="Strain and hatchery.")
    price: PriceText | None = Field(None, description="Such as '0.35 per fish' or '12 per kg'.")
    price_source: Remark = Field("", description="Who offers it, and when.")

    @model_validator(mode="after")
    def _a_price_has_a_source(self) -> "Fish":
        if self.price is not None:
            if not self.price_source.strip():
                raise ValueError(
                    f"price of {self.name!r} needs price_source: who offers it, and when"
                )
            if Price.parse(self.price).of == "weight" and self.mean_weight is None:
                raise ValueError(f"price {self.price!r} of {self.name!r} needs mean_weight")
        return self


class Existing(Part):
    """Fish that are there already."""

    name: Name = Field(description="What the estimate is called in this file.")
    stock: Amount = Field(description="Such as '400 fish', '120 kg', '8 /ha' or '12 kg/ha'.")
    low: Amount | None = Field(None, description="Low end of its 90 % interval.")
    high: Amount | None = Field(None, description="High end.")
    basis: Basis = Field(
        "surface", description="What a stock per area, volume or length counts by."
    )
    species: Remark = Field("", description="Species, where the basis is suitable water or bed.")
    mean_weight: Kilograms | None = Field(None, description="Of one fish.")
    remaining: Share = Field(
        1.0, description="Share of it that will still be there when the recruits come."
    )
    source: Source = Field(description="How and when it was estimated.")

    @model_validator(mode="after")
    def _one_kind_in_order(self) -> "Existing":
        ends = [text for text in (self.low, self.stock, self.high) if text is not None]
        parsed = [amount(text, source=self.source) for text in ends]
        kinds = {(one.of, one.per if isinstance(one, Rate) else None) for one in parsed}
        if len(kinds) > 1:
            raise ValueError(f"low, stock and high must be of one kind, got {', '.join(ends)}")
        if any(before.amount > after.amount for before, after in pairwise(parsed)):
            raise ValueError(f"low, stock and high must ascend, got {', '.join(ends)}")
        check_basis(parsed[0], self.basis, self.stock)
        return self


class Step(Part):
    """One stretch of a life, and the share that lives through it."""

    step: Name = Field(description="Such as 'stocking to October'.")
    likely: Share = Field(description="Share that survives.")
    low: Share | None = Field(None, description="Low end of its 90 % interval.")
    high: Share | None = Field(None, description="High end.")
    source: Source = Field(description="Where the figure comes from.")

    @model_validator(mode="after")
    def _in_order(self) -> "Step":
        if not self.ends[0] <= self.likely <= self.ends[1]:
            raise ValueError(
                f"survival must ascend from low to likely to high, got {self.low}, {self.likely}, "
                f"{self.high}"
            )
        return self

    @property
    def ends(self) -> tuple[float, float]:
        """Ends of the interval; both are the likely share where none is given."""
        return (
            self.likely if self.low is None else self.low,
            self.likely if self.high is None else self.high,
        )


class Limit(Part):
    """The most or the fewest fish to stock, whatever the rate says."""

    amount: Amount = Field(description="Such as '5000 fish', '40 kg' or '20 kg/ha'.")
    basis: Basis = Field(
        "surface", description="What a limit per area, volume or length counts by."
    )
    reason: Source = Field(description="Why, and who says so.")

    @model_validator(mode="after")
    def _basis_fits(self) -> "Limit":
        check_basis(self.parsed, self.basis, self.amount)
        return self

    @property
    def parsed(self) -> Rate | Total:
        """The amount."""
        return amount(self.amount, source=self.reason)


class Season(Part):
    """When to stock: from one day of the year to another, and the water's temperature then."""

    first: MonthDay = Field(description="First day, such as '05-15'.")
    last: MonthDay = Field(description="Last day; it may lie in the next year.")
    min_temperature: Celsius | None = Field(None, description="Coldest water to stock in, °C.")
    max_temperature: Celsius | None = Field(None, description="Warmest water to stock in, °C.")
    source: Source = Field(description="Where the limits come from.")

    @model_validator(mode="after")
    def _range_in_order(self) -> "Season":
        low, high = self.min_temperature, self.max_temperature
        if low is not None and high is not None and low >= high:
            raise ValueError(f"min_temperature must be below max_temperature, got {low} and {high}")
        return self
