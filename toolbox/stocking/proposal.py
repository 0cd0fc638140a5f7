"""Proposal: what an officer wants to stock, why, and under which limits."""

from itertools import pairwise

from pydantic import Field, model_validator

from toolbox.stocking.bases import Basis, check_basis
from toolbox.stocking.keys import Amount, Day, Name, Part, RateText, Remark, Source
from toolbox.stocking.lots import Existing, Fish, Limit, Season, Step
from toolbox.stocking.rates import Rate, Total, amount
from toolbox.stocking.transport import Transport

__all__ = ["Alternative", "Permit", "Stocking", "StockingProposal"]


class Permit(Part):
    """Who allows it; what is not known yet stays blank, to be filled in by hand."""

    authority: Remark = Field("", description="Who grants the permit.")
    permit_number: Remark = Field("", description="Number of the permit.")
    licence: Remark = Field("", description="Licence of who stocks, or of the hatchery.")
    health_certificate: Remark = Field("", description="Of the lot or of the hatchery.")
    conditions: Remark = Field("", description="What the permit asks for.")


class Stocking(Part):
    """One lot of an alternative: by a rate, or by the recruits that are wanted."""

    fish: Name = Field(description="Name of the lot.")
    basis: Basis = Field("surface", description="What the rate, or a target density, counts by.")
    rate: RateText | None = Field(None, description="Such as '30 /ha' or '1 lb/acre'.")
    rate_low: RateText | None = Field(None, description="Low end of the rates that are used.")
    rate_high: RateText | None = Field(None, description="High end.")
    recruits: Amount | None = Field(
        None, description="Fish wanted at the end of the survival chain: '200 fish' or '1.5 /ha'."
    )
    source: Source = Field(description="Where the rate or the target comes from.")
    survival: tuple[Step, ...] = Field((), description="Steps from stocking to recruit, in order.")
    subtract: Name | None = Field(None, description="Name of the existing stock to subtract.")
    cap: Limit | None = Field(None, description="The most to stock.")
    floor: Limit | None = Field(None, description="The fewest to stock, if any.")
    season: Season | None = Field(None, description="When to stock.")
    remarks: Remark = Field("", description="What a reader should know.")

    @model_validator(mode="after")
    def _rate_or_target(self) -> "Stocking":
        if (self.rate is None) == (self.recruits is None):
            raise ValueError("give rate or recruits, one of them")
        if self.recruits is not None and not self.survival:
            raise ValueError("recruits needs survival, the steps from stocking to recruit")
        if self.rate is None and (self.rate_low or self.rate_high):
            raise ValueError("rate_low and rate_high belong to a rate")
        rates = self.rates
        if len({rate.of for rate in rates}) > 1:
            raise ValueError("rate_low, rate and rate_high must all be fish or all be weight")
        if any(before.amount > after.amount for before, after in pairwise(rates)):
            told = ", ".join(rate.text for rate in rates)
            raise ValueError(f"rate_low, rate and rate_high must ascend, got {told}")
        wanted: tuple[Rate | Total, ...] = (*rates, *([self.target] if self.target else []))
        for one in wanted:
            check_basis(one, self.basis, one.text)
        if self.target and self.target.of == "weight":
            raise ValueError(f"recruits must be a number of fish, got {self.recruits!r}")
        return self

    @property
    def rates(self) -> tuple[Rate, ...]:
        """Low, likely and high rate; none for a target."""
        if self.rate is None:
            return ()
        texts = (self.rate_low or self.rate, self.rate, self.rate_high or self.rate)
        return tuple(Rate.parse(text, source=self.source) for text in texts)

    @property
    def target(self) -> Rate | Total | None:
        """The recruits that are wanted."""
        return None if self.recruits is None else amount(self.recruits, source=self.source)


class Alternative(Part):
    """One way to go about it; without stocking it is to do nothing."""

    name: Name = Field(description="What it is called.")
    purpose: Remark = Field("", description="What it is for.")
    stock: tuple[Stocking, ...] = Field((), description="Its lots.")


class StockingProposal(Part):
    """Everything a stocking file says."""

    title: Name = Field(description="Title of the plan.")
    water: Name = Field(description="Name of the water.")
    purpose: Remark = Field(
        "", description="What the stocking is for; stands at the head of the document."
    )
    prepared_by: Remark = Field("", description="Who prepared it.")
    date: Day = Field("", description="When.")
    currency: Remark = Field("", description="Of all prices.")
    permit: Permit = Permit()
    transport: Transport | None = None
    fish: tuple[Fish, ...] = Field(min_length=1, description="The lots.")
    existing: tuple[Existing, ...] = Field((), description="Stocks that are there already.")
    alternative: tuple[Alternative, ...] = Field(min_length=1, description="Side by side.")

    @model_validator(mode="after")
    def _names_are_known(self) -> "StockingProposal":
        for what, named in (
            ("fish", self.fish),
            ("existing", self.existing),
            ("alternative", self.alternative),
        ):
            _check_once(what, [one.name for one in named])
        for alternative in self.alternative:
            for entry in alternative.stock:
                self._check_entry(alternative.name, entry)
        lots = {one.name for one in self.fish}
        for row in self.transport.loading if self.transport else ():
            if row.fish:
                _check_known("loading", row.fish, lots, "fish")
        return self

    def _check_entry(self, alternative: str, entry: Stocking) -> None:
        where = f"alternative {alternative!r}"
        _check_known(where, entry.fish, {one.name for one in self.fish}, "fish")
        if entry.subtract is not None:
            _check_known(where, entry.subtract, {one.name for one in self.existing}, "existing")
        told = (*entry.rates, *(one.parsed for one in (entry.cap, entry.floor) if one))
        by_weight = [one for one in told if one.of == "weight"]
        if by_weight and self.lot(entry.fish).mean_weight is None:
            raise ValueError(
                f"{where}: {by_weight[0].text!r} needs mean_weight of fish {entry.fish!r}"
            )

    def lot(self, name: str) -> Fish:
        """Return the lot of that name."""
        return next(one for one in self.fish if one.name == name)

    def stock_of(self, name: str) -> Existing:
        """Return the existing stock of that name."""
        return next(one for one in self.existing if one.name == name)


def _check_once(what: str, names: list[str]) -> None:
    for name in names:
        if names.count(name) > 1:
            raise ValueError(f"{what}: each name must be given once, got {name!r} twice")


def _check_known(where: str, name: str, known: set[str], what: str) -> None:
    if name not in known:
        listed = ", ".join(map(repr, sorted(known))) or "none"
        raise ValueError(f"{where}: {what} must be one of {listed}, got {name!r}")
