"""Stocking document: what a fisheries officer takes to the meeting where a stocking is decided."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any

from toolbox.layers import Table
from toolbox.report.document import (
    Block,
    Cautions,
    Document,
    Facts,
    Figures,
    Heading,
    Picture,
    Signatures,
    Text,
)
from toolbox.report.lot_facts import lot_facts, number_told
from toolbox.stocking.plan import CAUTION
from toolbox.stocking.proposal import StockingProposal

__all__ = ["CAUTIONS", "StockingStudy", "season_table", "stocking_document"]

CAUTIONS = (
    CAUTION[:1].upper() + CAUTION[1:] + ".",
    "No fish may be released on the strength of this document. Movement of live fish can carry "
    "disease, parasites and species that do not belong: ask for health certificates, inspect the "
    "lot, and let no transport water into the lake that the authority has not allowed.",
    "Clean, drain and dry boats, nets and tanks between waters.",
    "Figures of the water are as old as the survey, and bed that nobody sounded is interpolated.",
    "Not for navigation. Nothing here says where one may wade, or whether ice will bear.",
)
_ROLES = ("Prepared by", "Fisheries officer responsible", "For the permitting authority")
_FOOTER = "Arithmetic, not a permit. Not for navigation."
_MEASURED = ("measure", "species", "value", "low", "high", "unit", "note")
_SIDE_BY_SIDE = {
    "alternative": "Alternative",
    "number": "Fish",
    "number_low": "Fewest fish",
    "number_high": "Most fish",
    "weight_kg": "Weight, kg",
    "weight_lb": "Weight, lb",
    "weight_kg_ha": "kg per ha",
    "recruits": "Recruits",
    "loads": "Loads",
    "cost": "Cost",
    "cost_low": "Least cost",
    "cost_high": "Most cost",
    "warnings": "Warnings",
}
_INPUTS = {
    "alternative": "Alternative",
    "fish": "Fish",
    "input": "Input",
    "value": "Likely",
    "low": "Low",
    "high": "High",
    "unit": "Unit",
    "range": "Range",
    "number": "Fish, likely",
    "number_at_low": "at low",
    "number_at_high": "at high",
}
_SQUEEZED = {
    "species": "Species",
    "least_volume_m3": "Least suitable water, m\u00b3",
    "least_volume_low_m3": "Low, m\u00b3",
    "least_volume_high_m3": "High, m\u00b3",
    "least_volume_time": "Least on",
    "least_thickness_m": "Thinnest layer, m",
    "squeezed_days": "Days squeezed",
    "longest_start": "Longest squeeze from",
    "longest_end": "to",
    "days_without": "Days without any",
}
_FISH = {
    "layer": "Depth",
    "transects": "Transects",
    "echoes": "Echoes",
    "water_m3": "Water, m\u00b3",
    "unsearched_share": "Not searched",
    "per_1000_m3": "In 1,000 m\u00b3",
    "number": "Fish",
    "number_low": "Low",
    "number_high": "High",
    "biomass_kg": "kg",
}


@dataclass(frozen=True)
class StockingStudy:
    """A proposal, and what was reckoned from it.

    Parameters
    ----------
    proposal : StockingProposal
        What was proposed.
    measures, plan, alternatives, sensitivity, assumptions : Table
        As the tools of stocking make them.
    squeeze, fish : Table, optional
        What the season leaves each species, and an estimate of the fish that are there.
    """

    proposal: StockingProposal
    measures: Table
    plan: Table
    alternatives: Table
    sensitivity: Table
    assumptions: Table
    squeeze: Table | None = None
    fish: Table | None = None

    @property
    def tables(self) -> dict[str, Table]:
        """Its tables by the names of their files."""
        return {
            "stocking_measures": self.measures,
            "stocking_plan": self.plan,
            "stocking_alternatives": self.alternatives,
            "stocking_sensitivity": self.sensitivity,
            "stocking_assumptions": self.assumptions,
        }


def stocking_document(
    study: StockingStudy,
    *,
    water: str,
    made: date,
    survey: tuple[tuple[str, str], ...] = (),
    map_png: bytes | None = None,
    season_png: bytes | None = None,
) -> Document:
    """Lay out a stocking plan as a document.

    Parameters
    ----------
    study : StockingStudy
        The plan and what it rests on.
    water : str
        Name of the water that was surveyed.
    made : date
        Day of its making.
    survey : tuple of (str, str)
        What to say of the survey: label and text.
    map_png, season_png : bytes, optional
        Pictures of the water and of its season.

    Returns
    -------
    Document
        For a page, and for paper.
    """
    proposal = study.proposal
    blocks = (
        *_proposed(study, water, made),
        *_water(study, survey, map_png),
        *_season(study, season_png),
        *_stock(study),
        *_lots(study),
        *_doubts(study),
        *_decision(proposal),
    )
    author = proposal.prepared_by or "author not given"
    return Document(proposal.title, water, made, author, blocks, _FOOTER)


def _proposed(study: StockingStudy, water: str, made: date) -> Iterator[Block]:
    proposal = study.proposal
    yield Heading("What is proposed")
    if proposal.date:
        yield Facts((("Proposal of", proposal.date), ("Reckoned on", made.isoformat())))
    if proposal.purpose:
        yield Text(proposal.purpose, lead=True)
    count = len(proposal.alternative)
    told = f"{count} alternatives are" if count > 1 else "One alternative is"
    yield Text(
        f"{told} set out below. Nothing here chooses among them: that is for the officer and "
        "the authority whose names stand at the end."
    )
    for alternative in proposal.alternative:
        yield Text(_sentence(study, alternative.name, alternative.purpose))
    yield Figures(
        _whole(_chosen(study.alternatives, _SIDE_BY_SIDE, notes=_money(proposal))),
        "Alternatives side by side",
        _SIDE_BY_SIDE,
    )
    if proposal.water != water:
        yield Cautions(
            (f"The proposal is for {proposal.water!r}, the survey is of {water!r}.",), "Check this"
        )
    yield Cautions(CAUTIONS)


def _money(proposal: StockingProposal) -> tuple[str, ...]:
    told = (
        "fewest and most fish, least and most cost: every input at the end that asks for fewest, "
        "or for most, at once",
        "all of one stocking each, not of a year",
    )
    return (*told, f"costs in {proposal.currency}") if proposal.currency else told


def _sentence(study: StockingStudy, name: str, purpose: str) -> str:
    rows = study.plan.frame[study.plan.frame["alternative"] == name]
    lots = [f"{number_told(row)} {row['fish']}" for _, row in rows.iterrows() if row["fish"]]
    what = " and ".join(lots) or "no fish"
    aim = purpose.rstrip(".")
    return f"{name[:1].upper()}{name[1:]}: {what}." + (f" {aim}." if aim else "")


def _chosen(table: Table, names: Any, *, notes: tuple[str, ...] | None = None) -> Table:
    """Keep the named columns that hold something."""
    kept = [name for name in names if name in table.frame and table.frame[name].notna().any()]
    return Table(table.frame[kept], table.title, table.notes if notes is None else notes)


def _whole(table: Table) -> Table:
    """Return a table with its fish as whole numbers."""
    counts = [str(name) for name in table.frame if str(name).startswith(("number", "recruits"))]
    whole = {name: table.frame[name].round().astype("Int64") for name in counts}
    return Table(table.frame.assign(**whole), table.title, table.notes)


def _water(
    study: StockingStudy, survey: tuple[tuple[str, str], ...], map_png: bytes | None
) -> Iterator[Block]:
    yield Heading("The water")
    if survey:
        yield Facts(survey)
    yield Figures(_chosen(study.measures, _MEASURED), "What stocking counts by")
    if map_png is not None:
        yield Picture(
            map_png,
            "Depths of the water at the datum, with isobaths and soundings.",
            "Map of the water, shaded by depth; the figures are those of the table above.",
        )


def _season(study: StockingStudy, season_png: bytes | None) -> Iterator[Block]:
    if season_png is None and study.squeeze is None:
        return
    yield Heading("The season")
    if season_png is not None:
        yield Picture(
            season_png,
            "Temperature and oxygen at the stations, interpolated between visits, and the water "
            "within the limits of each species. Nothing is told beyond the first and last visit.",
            "Temperature and oxygen by depth and time; the table below tells the narrowest times.",
        )
    if study.squeeze is not None:
        caption = f"How little the season leaves{_days_of(study.squeeze)}"
        yield Figures(season_table(study.squeeze), caption, _SQUEEZED)


def _days_of(squeeze: Table) -> str:
    frame = squeeze.frame
    if not len(frame) or not {"from_time", "to_time"} <= set(frame):
        return ""
    return f", {frame['from_time'].min():%Y-%m-%d} to {frame['to_time'].max():%Y-%m-%d}"


def season_table(squeeze: Table) -> Table:
    """Keep of a table of squeezes what a reader asks first, to the day and the centimetre."""
    import pandas as pd

    kept = _chosen(squeeze, _SQUEEZED)
    frame = kept.frame.copy()
    for name in frame:
        if pd.api.types.is_datetime64_any_dtype(frame[name]):
            frame[name] = frame[name].dt.strftime("%Y-%m-%d").fillna("")
    digits = {"least_thickness_m": 2, "squeezed_days": 0, "days_without": 0}
    return Table(
        frame.round({name: digits[name] for name in digits if name in frame}),
        kept.title,
        kept.notes,
    )


def _stock(study: StockingStudy) -> Iterator[Block]:
    proposal = study.proposal
    if not proposal.existing and study.fish is None:
        return
    yield Heading("Fish that are there")
    for stock in proposal.existing:
        ends = f" ({stock.low or stock.stock} to {stock.high or stock.stock})"
        ends = ends if stock.low or stock.high else ", range not given"
        left = f" {stock.remaining:.0%} of it is taken to be there when recruits come."
        left = left if stock.remaining < 1 else ""
        yield Text(f"{stock.name}: {stock.stock}{ends}.{left} Source: {stock.source}.")
    if study.fish is not None:
        yield Text("Echoes tell no species: the count is of fish of all kinds and sizes together.")
        yield Figures(_chosen(study.fish, _FISH), study.fish.title, _fish_headers(study.fish))


def _fish_headers(fish: Table) -> dict[str, str]:
    """Call an index an index."""
    is_index = "measure" in fish.frame and (fish.frame["measure"] == "index").any()
    return _FISH | ({"number": "Index"} if is_index else {})


def _lots(study: StockingStudy) -> Iterator[Block]:
    yield Heading("Lot by lot")
    for _, row in study.plan.frame.iterrows():
        if row["fish"]:
            yield Heading(f"{row['alternative']}: {row['fish']}", level=2)
            yield Facts(lot_facts(row, study.proposal.currency))
            warned = tuple(part for part in str(row["warnings"]).split("; ") if part)
            if warned:
                yield Cautions(warned, "Mind")


def _doubts(study: StockingStudy) -> Iterator[Block]:
    yield Heading("What the numbers hang on")
    yield Text(
        "Each input alone is moved to the ends of its range, the others kept as likely. A range "
        "that nobody gave was tried, to show what it would do."
    )
    yield Figures(_whole(_chosen(study.sensitivity, _INPUTS)), "Sensitivity", _INPUTS)
    yield Heading("Assumptions and sources")
    yield Figures(study.assumptions, "Every figure that somebody could question")


def _decision(proposal: StockingProposal) -> Iterator[Block]:
    permit = proposal.permit
    yield Heading("Permit and signatures", on_new_page=True)
    yield Facts(
        (
            ("Authority", permit.authority),
            ("Permit number", permit.permit_number),
            ("Licence", permit.licence),
            ("Health certificate", permit.health_certificate),
            ("Conditions", permit.conditions),
            ("Alternative chosen", ""),
            ("Date of release", ""),
        )
    )
    yield Signatures(
        _ROLES,
        "The undersigned have read the assumptions and cautions above. A signature here is no "
        "permit: what the permit says goes before what stands here.",
    )
