"""Wanted of what lives in the water: profiles, light, species, echoes and stocking, key by key."""

from collections.abc import Iterator
from typing import Any, ClassVar, Literal

from pydantic import Field

from toolbox.survey.keys import Input, Length, Metres, Name, Width, Zone
from toolbox.survey.sections import Rule, Section

__all__ = ["Echoes", "Light", "ProfileSource", "SpeciesSource", "Stocking"]

_MONTH_DAY = r"^\d\d-\d\d$"


class ProfileSource(Section):
    """Temperature, oxygen and light down the water, at stations over time."""

    file: Input = Field(
        description="Text, one row a reading: a date or time, depth_m, and what was read."
    )
    timezone: Zone | None = Field(
        None, description="Zone of times that name no offset; if left out, UTC."
    )
    date_format: str | None = Field(None, description="How dates are written, if not as ISO 8601.")
    stations: tuple[Name, ...] | None = Field(
        None, min_length=1, description="Stations to use, averaged; all if left out."
    )
    carry_down: bool = Field(
        False, description="Let the deepest reading of a visit stand for all water below it."
    )
    oxygen: float = Field(
        1.0, ge=0, le=20, description="Oxygen at and below which water counts as anoxic, mg/L."
    )


def _one_loss_of_light(light: Any) -> Iterator[str]:
    if light.secchi is not None and light.attenuation is not None:
        yield "give secchi or attenuation, not both"


class Light(Section):
    """How fast light is lost; with neither key it is fitted to the profiles' light."""

    rules: ClassVar[tuple[Rule, ...]] = (_one_loss_of_light,)

    secchi: Width | None = Field(None, description="Depth at which a Secchi disc vanishes, m.")
    attenuation: float | None = Field(None, gt=0, le=50, description="Attenuation, 1/m.")
    fixed_depth: Width = Field(
        4.572, description="Depth of the littoral by agreement, m; 4.572 are 15 ft."
    )


class SpeciesSource(Section):
    """Whose water and bed to measure; this needs profiles."""

    file: Input | None = Field(
        None, description="Limits of species; if left out, those that come with the toolbox."
    )
    names: tuple[Name, ...] | None = Field(
        None, min_length=1, description="The species wanted; all of the file if left out."
    )
    step_days: float = Field(1.0, gt=0, le=366, description="Days between moments of the season.")
    least_thickness: Length = Field(
        1.0, description="Thickness of suitable water below which a species is squeezed, m."
    )


class Echoes(Section):
    """Single echoes of fish, and the pings they were heard in."""

    file: Input = Field(description="Text, one row an echo: transect, ping, range_m or depth_m.")
    pings: Input = Field(description="Text, one row a ping, also those without fish.")
    beam_angle: float = Field(gt=0, le=90, description="Full width of the beam, degrees.")
    counting: Literal["pings", "traces"] = Field(
        "pings", description="Whether a row is an echo in one ping, or one fish in several."
    )
    calibrated: bool = Field(
        False, description="Whether the sounder was calibrated: else counts are an index."
    )
    period: str = Field("", description="Use only this period, day or night.")
    step: Width | None = Field(None, description="Height of the layers, m.")
    frequency: float = Field(200.0, ge=10, le=1000, description="Of the sounder, kHz.")
    draft: Metres = Field(0.0, ge=0, description="Of the transducer below the surface, m.")
    least_ts: float | None = Field(
        None, ge=-150, le=0, description="Weakest target strength that counts, dB."
    )


class Stocking(Section):
    """A stocking proposal to reckon through."""

    file: Input = Field(description="The proposal: lots, rates with sources, alternatives.")
    littoral_depth: Width = Field(4.572, description="Down to which bed is littoral, m.")
    suitable_first: str | None = Field(
        None, pattern=_MONTH_DAY, description="Month and day from which suitable water counts."
    )
    suitable_last: str | None = Field(
        None, pattern=_MONTH_DAY, description="Month and day up to which it counts."
    )
