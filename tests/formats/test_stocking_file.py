"""A stocking file is read whole or refused in one line that names file, key and value."""

from pathlib import Path

import pytest

from toolbox.errors import InputFileError
from toolbox.formats.stocking_file import read_stocking

SAMPLE = Path(__file__).resolve().parents[2] / "sample_layers" / "stocking.toml"

PLAIN = """
title = "Plan"
water = "Mere"

[[fish]]
name = "fry"
species = "walleye"
mean_weight = "0.01 g"

[[existing]]
name = "old"
stock = "40 fish"
source = "netting 2025"

[[alternative]]
name = "some"

[[alternative.stock]]
fish = "fry"
basis = "littoral"
rate = "1000 /acre"
source = "an agency"
"""


def put(folder: Path, text: str) -> Path:
    path = folder / "stocking.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_sample_is_read() -> None:
    proposal = read_stocking(SAMPLE)
    assert [one.name for one in proposal.alternative] == [
        "no stocking",
        "maintenance",
        "adults wanted",
    ]
    assert proposal.permit.permit_number == ""
    assert proposal.lot("tench yearlings").mean_weight == pytest.approx(0.028)
    assert proposal.transport is not None
    assert proposal.transport.tank == pytest.approx(0.9)
    assert proposal.transport.loading[0].rate == pytest.approx(60.0)
    assert proposal.date == "2026-11-20"


def test_quantities_come_in_si(tmp_path: Path) -> None:
    text = PLAIN.replace('mean_weight = "0.01 g"', 'mean_weight = "1 lb"\nmean_length = "2 inch"')
    fish = read_stocking(put(tmp_path, text)).fish[0]
    assert (fish.mean_weight, fish.mean_length) == (
        pytest.approx(0.45359237),
        pytest.approx(0.0508),
    )


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        (
            'source = "an agency"',
            "",
            r"key 'alternative\.1\.stock\.1\.source' is missing: every fig",
        ),
        ('"an agency"', '"  "', r"key 'alternative\.1\.stock\.1\.source': "),
        ('"1000 /acre"', '"1000"', r"stock\.1\.rate': a rate must be fish or weight per .*'1000'$"),
        ('"1000 /acre"', "1000", r"stock\.1\.rate': a rate must be fish or weight per .*'1000'$"),
        (
            '"1000 /acre"',
            '"50 /km"',
            r"'50 /km' is per length and fits basis 'shoreline', .*'littor",
        ),
        (
            '"littoral"',
            '"benthos"',
            r"stock\.1\.basis': Input should be 'surface', .*got 'benthos'$",
        ),
        ('fish = "fry"', 'fish = "eels"', r"'some': fish must be one of 'fry', got 'eels'$"),
        (
            'source = "an',
            'subtract = "x"\nsource = "an',
            r"existing must be one of 'old', got 'x'$",
        ),
        (
            'source = "an',
            'cost = 3\nsource = "an',
            r"stock\.1\.cost' is unknown; allowed here: basi",
        ),
        (
            'source = "an',
            'recruits = "3 fish"\nsource = "an',
            "give rate or recruits, one of them$",
        ),
        ('rate = "1000 /acre"', 'recruits = "3 fish"', "recruits needs survival, the steps"),
        ('"0.01 g"', "0.01", r"fish\.1\.mean_weight': must be a number and its unit, .*got 0\.01$"),
        ('"0.01 g"', '"0.01"', r"mean_weight': must be a number and its unit, such as '1\.2 g'"),
        ('"0.01 g"', '"1 cm"', r"mean_weight': must be a number and its unit, such as '1\.2 g'"),
        (
            '"0.01 g"',
            '"0 g"',
            r"mean_weight': Input should be greater than or equal to 0\.000000001, got '0 g'$",
        ),
        ('"0.01 g"', '"1 g"\nprice = "2 per fish"', "needs price_source: who offers it, and when$"),
        ('mean_weight = "0.01 g"\n', 'price = "2 /kg"\nprice_source = "x"', "needs mean_weight$"),
        ('"40 fish"', '"40"', r"existing\.1\.stock': an amount must be such as .* got '40'$"),
        ('"40 fish"', '"40 fish"\nlow = "50 fish"', "low, stock and high must ascend, got 50 fish"),
        ('"40 fish"', '"40 fish"\nlow = "5 kg"', "low, stock and high must be of one kind, got 5"),
        ('"40 fish"', '"4 /km"', r"'4 /km' is per length and fits basis .* got basis 'surface'$"),
        (
            '"1000 /acre"',
            '"1 lb/acre"\nrate_low = "3 /ha"',
            "rate_low, rate and rate_high must all be fish or all be weight$",
        ),
        (
            '"1000 /acre"',
            '"10 /ha"\nrate_low = "30 /ha"',
            r"must ascend, got 30 /ha, 10 /ha, 10 /ha$",
        ),
        (
            'name = "some"',
            'name = "some"\n[[alternative]]\nname = "some"',
            "once, got 'some' twice$",
        ),
        ('title = "Plan"', 'title = ""', "key 'title': String should have at least 1 character"),
        ('title = "Plan"', "title = ", "is not a TOML file"),
    ],
)
def test_what_is_wrong_is_told_in_one_line(tmp_path: Path, old: str, new: str, told: str) -> None:
    assert old in PLAIN
    path = put(tmp_path, PLAIN.replace(old, new))
    with pytest.raises(InputFileError, match=told) as caught:
        read_stocking(path)
    assert str(caught.value).startswith(f"{path}")
    assert "\n" not in str(caught.value)


def test_a_weight_rate_needs_the_weight_of_a_fish(tmp_path: Path) -> None:
    text = PLAIN.replace('mean_weight = "0.01 g"\n', "").replace("1000 /acre", "1 lb/acre")
    with pytest.raises(InputFileError, match=r"'1 lb/acre' needs mean_weight of fish 'fry'$"):
        read_stocking(put(tmp_path, text))


SEASON = 'season = { first = "%s", last = "06-30", %s source = "told" }'
STEP = 'recruits = "9 fish"\nsurvival = [{ step = "winter", likely = %s, source = "told" }]'


@pytest.mark.parametrize(
    ("line", "told"),
    [
        (SEASON % ("13-01", ""), r"season\.first': day must be month and day, such as '05-15'"),
        (SEASON % ("May", ""), r"season\.first': String should match pattern"),
        (SEASON % ("02-29", "min_temperature = 9, max_temperature = 8,"), "must be below max_temp"),
        (SEASON % ("05-01", "min_temperature = 99,"), r"min_temperature': Input should be less"),
        ('cap = { amount = "9 fish" }', r"cap\.reason' is missing$"),
        ('cap = { amount = "9 /km", reason = "told" }', "fits basis 'shoreline'"),
        (
            STEP % "0",
            r"survival\.1\.likely': Input should be greater than or equal to 0\.000000001, got 0$",
        ),
        (STEP % "1.1", r"survival\.1\.likely': Input should be less than or equal to 1, got 1\.1$"),
        (
            STEP % "0.5, low = 0.6",
            r"survival must ascend from low to likely to high, got 0\.6, 0\.5",
        ),
    ],
)
def test_limits_seasons_and_survival(tmp_path: Path, line: str, told: str) -> None:
    text = PLAIN + line
    if "recruits" in line:
        text = text.replace('rate = "1000 /acre"\n', "")
    with pytest.raises(InputFileError, match=told):
        read_stocking(put(tmp_path, text))


def test_leap_day_is_a_day(tmp_path: Path) -> None:
    text = PLAIN + SEASON % ("02-29", "")
    season = read_stocking(put(tmp_path, text)).alternative[0].stock[0].season
    assert season is not None
    assert season.first == "02-29"


TRUCK = """
[transport]
tank = "1200 L"
haul = "%s"
hatchery_temperature = 10
%s
[[transport.loading]]
rate = "%s"
max_temperature = 15
max_hours = "4 h"
source = "told"
"""


@pytest.mark.parametrize(
    ("haul", "line", "rate", "told"),
    [
        ("3", "", "0.1 kg/L", r"transport\.haul': must be a number and its unit, such as '2\.5 h'"),
        ("3 h", "", "0.1", r"transport\.loading\.1\.rate': must be a number and its unit"),
        ("3 h", "price_per_load = 3.0", "1 lb/gal", "price_per_load needs price_source"),
        ("3 h", "", '1 lb/gal"\nfish = "eel', "loading: fish must be one of 'fry', got 'eel'$"),
    ],
)
def test_transport(tmp_path: Path, haul: str, line: str, rate: str, told: str) -> None:
    with pytest.raises(InputFileError, match=told):
        read_stocking(put(tmp_path, PLAIN + TRUCK % (haul, line, rate)))


def test_pounds_per_gallon(tmp_path: Path) -> None:
    proposal = read_stocking(put(tmp_path, PLAIN + TRUCK % ("180 min", "", "1 lb/gal")))
    assert proposal.transport is not None
    assert proposal.transport.haul == pytest.approx(3.0)
    # derived: 0.45359237 kg over 3.785411784 L
    assert proposal.transport.loading[0].rate == pytest.approx(119.826427)


def test_no_such_file(tmp_path: Path) -> None:
    with pytest.raises(InputFileError, match=r"does not exist$"):
        read_stocking(tmp_path / "none.toml")
