"""A stocking document says what the plan says, asks for the permit, and takes names literally."""

import io
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import openpyxl
import pandas as pd
import pytest
from pypdf import PdfReader

from toolbox.formats.stocking_file import read_stocking
from toolbox.layers import Table
from toolbox.report.document import Cautions, Document, Facts, Figures, Signatures, Text
from toolbox.report.document_html import document_page
from toolbox.report.document_pdf import document_pdf
from toolbox.report.lot_facts import lot_facts
from toolbox.report.stocking_document import StockingStudy, stocking_document
from toolbox.report.stocking_workbook import write_stocking_workbook
from toolbox.stocking.assumptions import stocking_assumptions
from toolbox.stocking.comparison import compare_alternatives
from toolbox.stocking.plan import stocking_plan
from toolbox.stocking.sensitivity import stocking_sensitivity

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers" / "stocking.toml"
MADE = date(2026, 11, 26)
# Ice Lake, Minnesota: waterontheweb.org, data/icelake/context/morphometry.html, Table 1
ICE_LAKE = (
    ("surface area", "", 16.6e4, "m2"),
    ("littoral area", "", 5.429e4, "m2"),
    ("volume", "", 1.16e6, "m3"),
    ("shoreline length", "", 1700.0, "m"),
    ("suitable bed area", "tench", 4e4, "m2"),
)


@pytest.fixture(scope="module")
def study() -> StockingStudy:
    rows = pd.DataFrame(ICE_LAKE, columns=["measure", "species", "value", "unit"])
    measures = Table(rows.assign(low=rows["value"] * 0.95, high=rows["value"] * 1.05, note=""))
    proposal = read_stocking(SAMPLE)
    plan = stocking_plan(measures, proposal)
    return StockingStudy(
        proposal,
        measures,
        plan,
        compare_alternatives(plan),
        stocking_sensitivity(measures, proposal),
        stocking_assumptions(measures, proposal),
    )


def made(study: StockingStudy, water: str = "Figment Mere (invented)") -> Document:
    return stocking_document(study, water=water, made=MADE, survey=(("Surveyed by", "nobody"),))


def facts(document: Document) -> list[tuple[str, str]]:
    return [row for block in document.blocks if isinstance(block, Facts) for row in block.rows]


def test_every_lot_has_its_card(study: StockingStudy) -> None:
    told = facts(made(study))
    lots = study.plan.frame[study.plan.frame["fish"] != ""]
    numbers = [says for label, says in told if label == "Number"]
    assert [text.split(" ")[0] for text in numbers] == [f"{n:,.0f}" for n in lots["number"]]
    # 1 lb of fingerlings of 30 g to each of 13.416 littoral acres (derived)
    assert numbers[0].startswith("203 (")


def test_blank_permits_are_lines_to_fill_in(study: StockingStudy) -> None:
    told = dict(facts(made(study)))
    assert told["Authority"] == "Fisheries Board of Nowhere (invented)"
    for label in ("Permit number", "Licence", "Health certificate", "Alternative chosen"):
        assert told[label] == ""
    page = document_page(made(study))
    assert page.count('<dd class="fill">') >= 4


def test_it_ends_with_signatures_and_says_they_are_no_permit(study: StockingStudy) -> None:
    last = made(study).blocks[-1]
    assert isinstance(last, Signatures)
    assert "no permit" in re.sub(r"\s+", " ", last.statement)
    assert len(last.roles) == 3


def test_cautions_and_warnings_are_told(study: StockingStudy) -> None:
    rows = [
        row for block in made(study).blocks if isinstance(block, Cautions) for row in block.rows
    ]
    assert any("permit and the licensed fisheries officer" in row for row in rows)
    assert any("season not checked: no profiles" in row for row in rows)


def test_another_water_is_pointed_out(study: StockingStudy) -> None:
    def checks(document: Document) -> list[str]:
        return [
            b.rows[0] for b in document.blocks if isinstance(b, Cautions) and "Check" in b.title
        ]

    assert checks(made(study)) == []
    (line,) = checks(made(study, "Another Water"))
    assert "'Figment Mere (invented)'" in line
    assert "'Another Water'" in line


def test_all_assumptions_stand_on_paper(study: StockingStudy) -> None:
    pages = PdfReader(io.BytesIO(document_pdf(made(study)))).pages
    told = re.sub(r"\s+", "", "".join(page.extract_text() for page in pages))
    for source in study.assumptions.frame["source"]:
        assert re.sub(r"\s+", "", source)[:40] in told


def test_fish_are_whole_in_the_table_of_sensitivity(study: StockingStudy) -> None:
    (table,) = [
        block
        for block in made(study).blocks
        if isinstance(block, Figures) and block.caption == "Sensitivity"
    ]
    (column,) = [column for column in table.columns if column.header == "at high"]
    shown = vars(column)["values"]
    assert all(value is None or value == int(value) for value in shown)


def test_hostile_names_are_names(study: StockingStudy) -> None:
    hostile = '<script>alert("x")</script> \u202e {{ 7*7 }} ' + "z" * 200
    proposal = study.proposal.model_copy(update={"title": hostile, "prepared_by": hostile})
    frame = study.plan.frame.assign(fish=hostile, alternative=hostile, warnings=hostile)
    spoiled = replace(study, proposal=proposal, plan=Table(frame))
    page = document_page(made(spoiled, hostile))
    assert "<script" not in page
    assert "\u202e" not in page
    assert "&lt;script&gt;" in page
    assert document_pdf(made(spoiled, hostile)).startswith(b"%PDF")


def test_what_is_not_known_is_left_out_of_a_card(study: StockingStudy) -> None:
    row = study.plan.frame[study.plan.frame["fish"] != ""].iloc[0].copy()
    row["weight_kg"] = row["cost"] = row["loads"] = float("nan")
    told = dict(lot_facts(row, "crowns"))
    assert not {"Weight", "Cost", "Transport", "Recruits wanted"} & set(told)
    assert not any("nan" in says for says in told.values())


def test_the_workbook_holds_the_tables(study: StockingStudy, tmp_path: Path) -> None:
    for name in ("a", "b"):
        path = tmp_path / f"{name}.xlsx"
        write_stocking_workbook(path, study, water="Figment Mere (invented)", made=MADE)
    assert (tmp_path / "a.xlsx").read_bytes() == (tmp_path / "b.xlsx").read_bytes()
    book = openpyxl.load_workbook(tmp_path / "a.xlsx")
    assert book.sheetnames[:2] == ["About", "Alternatives"]
    told = {cell.value for row in book["About"] for cell in row}
    assert {"Authority", "to be filled in"} <= told
    assert book["Lots"]["B2"].value == "maintenance"
    header, *rows = book["Plan"].iter_rows(values_only=True)
    place = list(header).index("Number")
    lots = study.plan.frame
    assert [row[place] for row in rows[: len(lots)]] == lots["number"].tolist()


def test_the_day_of_the_proposal_and_that_of_the_reckoning_are_told(study: StockingStudy) -> None:
    told = dict(facts(made(study)))
    assert (told["Proposal of"], told["Reckoned on"]) == ("2026-11-20", "2026-11-26")


def test_great_figures_are_written_without_powers_of_ten(study: StockingStudy) -> None:
    row = study.plan.frame[study.plan.frame["fish"] != ""].iloc[0].copy()
    great = {
        "basis": "volume", "quantity": 1_001_363.5, "quantity_low": 979_012.0,
        "quantity_high": 1_024_060.4, "quantity_unit": "m3", "quantity_us": "811.8 acre-foot",
        "weight_kg": 12_345.6, "weight_low_kg": 9_876.5, "weight_high_kg": 23_456.7,
        "weight_lb": 27_217.4, "number_per_ha": 2471.05, "number_per_acre": 1000.0,
    }  # fmt: skip
    for name, value in great.items():
        row[name] = value
    told = dict(lot_facts(row, "crowns"))
    assert told["Counted by"] == (
        "volume: 1,001,000 m\u00b3 (979,000 to 1,024,000 m\u00b3) = 811.8 acre-foot"
    )
    assert told["Weight"] == "12,300 kg = 27,200 lb (9,880 to 23,500 kg)"
    assert told["On the whole water"].startswith("2,470 per ha = 1,000 per acre")
    assert not any(re.search(r"\de[+-]\d", says) for says in told.values())


def test_a_card_can_be_followed_by_hand(study: StockingStudy) -> None:
    cards = [dict(lot_facts(row, "")) for _, row in study.plan.frame.iterrows() if row["fish"]]
    assert cards[1]["Reckoned"].startswith("(16.60 ha x 1.500 fish/ha - 6.000 fish) / 0.008 = ")
    assert cards[1]["Survival of the chain"] == "0.008 (0.004 to 0.01383)"
    assert cards[2]["Rate"] == "20 /ha = 8.094 /acre"


def test_a_range_that_nobody_gave_is_not_made_up(study: StockingStudy) -> None:
    stock = study.proposal.existing[0].model_copy(update={"low": None, "high": None})
    proposal = study.proposal.model_copy(update={"existing": (stock,)})
    texts = [
        block.text
        for block in made(replace(study, proposal=proposal)).blocks
        if isinstance(block, Text)
    ]
    (told,) = [text for text in texts if text.startswith("adult walleye")]
    assert "12 fish, range not given." in told
    assert "12 fish to 12 fish" not in told


def test_an_index_is_no_number_of_fish(study: StockingStudy) -> None:
    layers = {"layer": ["0 to 2 m", "whole"], "number": [5.0, 9.0], "echoes": [1, 2]}
    for measure, header in (("index", "Index"), ("number", "Fish")):
        fish = Table(pd.DataFrame(layers | {"measure": measure, "mean_ts_db": -40.0}), "Count")
        (table,) = [
            block
            for block in made(replace(study, fish=fish)).blocks
            if isinstance(block, Figures) and block.caption == "Count"
        ]
        assert [column.header for column in table.columns] == ["Depth", "Echoes", header]


def test_the_season_is_told_by_days_that_it_names(study: StockingStudy) -> None:
    noon = pd.Timestamp("2026-07-15T12:00", tz="UTC")
    squeeze = pd.DataFrame(
        {
            "species": ["tench"], "from_time": [noon - pd.Timedelta(days=44)],
            "to_time": [noon + pd.Timedelta(days=62)], "least_volume_m3": [561_703.5],
            "least_volume_time": [noon], "least_thickness_m": [3.1234],
        }
    )  # fmt: skip
    (table,) = [
        block
        for block in made(replace(study, squeeze=Table(squeeze))).blocks
        if isinstance(block, Figures) and block.caption.startswith("How little")
    ]
    assert table.caption == "How little the season leaves, 2026-06-01 to 2026-09-15"
    assert table.table.frame["least_volume_time"].tolist() == ["2026-07-15"]
    assert table.table.frame["least_thickness_m"].iloc[0] == 3.12
