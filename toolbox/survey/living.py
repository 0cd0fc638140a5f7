"""Living: what a survey reads of the life in its water, before any bed is made."""

from dataclasses import dataclass

import numpy as np

from toolbox.errors import InputFileError
from toolbox.formats.doors import read_table
from toolbox.formats.profiles_file import AT_DATUM, read_profiles
from toolbox.formats.species_file import read_species, shipped_species
from toolbox.formats.stocking_file import read_stocking
from toolbox.habitat.species import SpeciesLimits
from toolbox.layers import Profiles, Table
from toolbox.notes import Assumption
from toolbox.reduction.water_level import level_at
from toolbox.stocking.proposal import StockingProposal
from toolbox.survey.levels import record_of
from toolbox.survey.lineage import Lineage
from toolbox.survey.settings import Settings

__all__ = ["Living", "read_living"]


@dataclass(frozen=True)
class Living:
    """Profiles, limits of species, echoes, and a proposal to stock."""

    profiles: Profiles | None = None
    species: SpeciesLimits | None = None
    echoes: Table | None = None
    pings: Table | None = None
    proposal: StockingProposal | None = None


def read_living(settings: Settings, lineage: Lineage) -> Living:
    """Read profiles, limits of species, echoes and a proposal."""
    echoes, pings = _read_echoes(settings, lineage)
    profiles = _read_profiles(settings, lineage)
    _check_light(settings, profiles)
    return Living(
        profiles,
        _read_species(settings, lineage),
        echoes,
        pings,
        _read_proposal(settings, lineage),
    )


def _check_light(settings: Settings, profiles: Profiles | None) -> None:
    """Refuse to go on where light is wanted and nothing tells of it."""
    wanted = settings.light
    if wanted is None or wanted.secchi is not None or wanted.attenuation is not None:
        return
    if profiles is None or profiles.frame["par"].isna().all():
        raise InputFileError(
            "light needs secchi or attenuation, or profiles with a column of light (par)"
        )


def _read_species(settings: Settings, lineage: Lineage) -> SpeciesLimits | None:
    wanted = settings.species
    if wanted is None:
        return None
    every = shipped_species() if wanted.file is None else read_species(wanted.file)
    species = every.only(wanted.names)
    lineage.step("read species", species.cautions, species=len(species.species))
    return species


def _read_echoes(settings: Settings, lineage: Lineage) -> tuple[Table | None, Table | None]:
    wanted = settings.echoes
    if wanted is None:
        return None, None
    echoes, pings = read_table(wanted.file), read_table(wanted.pings)
    lineage.step("read echoes", echoes=len(echoes.frame), pings=len(pings.frame))
    return echoes, pings


def _read_proposal(settings: Settings, lineage: Lineage) -> StockingProposal | None:
    if settings.stocking is None:
        return None
    proposal = read_stocking(settings.stocking.file)
    lineage.step("read proposal", alternatives=len(proposal.alternative))
    return proposal


def _read_profiles(settings: Settings, lineage: Lineage) -> Profiles | None:
    wanted = settings.profiles
    if wanted is None:
        return None
    profiles = read_profiles(
        wanted.file,
        timezone=wanted.timezone,
        date_format=wanted.date_format,
        datum=settings.datum.elevation,
    )
    if wanted.stations is not None:
        chosen = profiles.frame["station"].isin(wanted.stations)
        missing = [name for name in wanted.stations if name not in profiles.stations]
        if missing:
            raise InputFileError(
                f"{wanted.file} must hold station {missing[0]!r}, "
                f"got {', '.join(map(repr, profiles.stations))}"
            )
        profiles = Profiles(profiles.frame[chosen], profiles.notes)
    profiles = _on_record(profiles, settings)
    lineage.step("read profiles", profiles.notes, readings=len(profiles))
    return profiles


def _on_record(profiles: Profiles, settings: Settings) -> Profiles:
    """Tell the surfaces of days that the record of water levels covers."""
    datum, record = settings.datum.elevation, record_of(settings.datum)
    if datum is None or record is None or (profiles.frame["surface_m"] != 0).any():
        return profiles
    level = level_at(record, profiles.frame["time"].to_numpy("datetime64[ns]"))
    known = np.isfinite(level)
    surface = np.where(known, datum - level, 0.0)
    notes = tuple(note for note in profiles.notes if note != AT_DATUM)
    if not known.all():
        days = profiles.frame["time"].dt.date
        without = f"{days[~known].nunique()} of {days.nunique()} days of profiles"
        notes += (
            Assumption(
                f"{without} without a record of the water level: their surface is at the datum"
            ),
        )
    return Profiles(profiles.frame.assign(surface_m=surface), notes)
