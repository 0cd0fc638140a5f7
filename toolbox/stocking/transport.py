"""Transport: how many loads a lot needs, and what the way asks of the fish."""

from pydantic import Field, model_validator

from toolbox.stocking.keys import Celsius, Hours, Loading, Name, Part, Remark, Source, Tank

__all__ = ["LoadingRow", "Transport"]

_MOST_DIFFERENCE = 5.0


class LoadingRow(Part):
    """What weight of fish a litre of tank water carries, up to a temperature and a time."""

    rate: Loading = Field(description="Such as '0.1 kg/L' or '1 lb/gal'.")
    max_temperature: Celsius = Field(description="Warmest tank water it holds for, °C.")
    max_hours: Hours = Field(description="Longest way it holds for, such as '4 h'.")
    fish: Name | None = Field(None, description="The one lot it holds for; if left out, all.")
    source: Source = Field(description="Where the figure comes from.")


class Transport(Part):
    """The truck, the way, and the water at both ends."""

    tank: Tank = Field(description="Water in one tank, such as '1200 L'.")
    tanks: int = Field(1, ge=1, le=100, strict=True, description="Tanks on one load.")
    haul: Hours = Field(description="From the hatchery to the water, loading included.")
    hatchery_temperature: Celsius = Field(description="Of the water the fish leave, °C.")
    receiving_temperature: Celsius | None = Field(
        None, description="Of the water they go to, °C; if left out, that of the profiles."
    )
    largest_difference: float = Field(
        _MOST_DIFFERENCE,
        gt=0,
        le=30,
        strict=True,
        description="Between the two without tempering, °C.",
    )
    difference_source: Source = Field(
        "common practice, no source", description="Where that limit comes from."
    )
    price_per_load: float | None = Field(
        None, ge=0, strict=True, allow_inf_nan=False, description="In the currency of the file."
    )
    price_source: Remark = Field("", description="Who offers it, and when.")
    loading: tuple[LoadingRow, ...] = Field(min_length=1, description="Loading rates.")

    @model_validator(mode="after")
    def _a_price_has_a_source(self) -> "Transport":
        if self.price_per_load is not None and not self.price_source.strip():
            raise ValueError("price_per_load needs price_source: who offers it, and when")
        return self

    def loading_for(self, fish: str) -> LoadingRow | None:
        """Return the row with the greatest rate that holds for this lot and way, if any.

        Rows of this lot go before rows of all.
        """
        fitting = [
            row
            for row in self.loading
            if row.fish in (None, fish)
            and row.max_temperature >= self.hatchery_temperature
            and row.max_hours >= self.haul
        ]
        own = [row for row in fitting if row.fish == fish]
        return max(own or fitting, key=lambda row: row.rate, default=None)
