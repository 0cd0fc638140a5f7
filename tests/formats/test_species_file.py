"""Species files are read in the units they are written in, and wrong keys named."""

import tomllib
from pathlib import Path

import pytest

from toolbox.errors import InputFileError
from toolbox.formats.species_file import read_species, shipped_species, shipped_species_text

HEAD = '[[species]]\nname = "trout"\n'


def read(tmp_path: Path, text: str) -> dict[str, tuple[float, float]]:
    """Ranges by measure of the only species of a file."""
    file = tmp_path / "species.toml"
    file.write_text(text, encoding="utf-8")
    (one,) = read_species(file).species
    return {measure: one.range_of(measure) for measure in one.measures}


@pytest.mark.parametrize(
    ("text", "celsius"),
    [
        ('"59 degF"', 15.0),
        ('"59 F"', 15.0),
        ('"59F"', 15.0),
        ('"59 °F"', 15.0),
        ('"15 degC"', 15.0),
        ('"15 C"', 15.0),
        ('"15 °C"', 15.0),
        ('"15 degrees Celsius"', 15.0),
        ('"288.15 K"', 15.0),
        ('"15"', 15.0),
        ("15", 15.0),
        ("15.5", 15.5),
    ],
)
def test_temperatures_with_their_zero(tmp_path: Path, text: str, celsius: float) -> None:
    # exact: degrees Celsius = (degrees Fahrenheit - 32) / 1.8
    text = HEAD + f'temperature = {{ most = {text}, source = "x" }}'
    assert read(tmp_path, text)["temperature_c"][1] == celsius


def test_quantities_with_units(tmp_path: Path) -> None:
    text = HEAD + (
        'oxygen = { least = "5 mg/L", source = "x" }\n'
        'depth = { least = 1, most = "10 ft", source = "x" }\n'
        'light = { least = "1 %", most = 0.5, source = "x" }\n'
        'plants = { least = "10 %", most = 80, source = "x" }\n'
        'slope = { most = "10 deg", source = "x" }\n'
    )
    found = read(tmp_path, text)
    assert found["oxygen_mg_l"][0] == 5.0
    assert found["depth_m"] == pytest.approx((1.0, 3.048), abs=1e-12)
    assert found["light"] == (0.01, 0.5)
    assert found["plants"] == (10.0, 80.0)
    assert found["slope_deg"][1] == pytest.approx(10.0, abs=1e-12)


def test_several_sources_of_one_measure(tmp_path: Path) -> None:
    text = HEAD + 'oxygen = [{ least = 4, source = "a" }, { most = 14, source = "b" }]'
    file = tmp_path / "species.toml"
    file.write_text(text, encoding="utf-8")
    (one,) = read_species(file).species
    assert one.range_of("oxygen_mg_l") == (4.0, 14.0)
    assert one.sources == ("a", "b")


def test_demand_by_temperature(tmp_path: Path) -> None:
    file = tmp_path / "species.toml"
    row = '{ base = "0.40 mg/L", factor = 6e-6, rate = "0.59", source = "x" }'
    file.write_text(HEAD + f"oxygen_demand = {row}", encoding="utf-8")
    (one,) = read_species(file).species
    assert one.oxygen_demand is not None
    assert one.oxygen_demand.least(22.0) == pytest.approx(3.002, abs=0.0005)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x = 1", "key 'x' is unknown; allowed here: species"),
        ("species = 3", "species must be written as [[species]], each with a name"),
        ("# nothing", "species must name at least one, got none"),
        ("[[species]]\nremarks = 'x'", "species 1: key 'name' must be a text, got ''"),
        (
            HEAD,
            "species 'trout': needs at least one limit of temperature, oxygen, depth, light, "
            "plants, slope, oxygen_demand",
        ),
        (
            HEAD + "temprature = 3",
            "species 'trout': key 'temprature' is unknown; allowed here: name, remarks, "
            "temperature, oxygen, depth, light, plants, slope, oxygen_demand",
        ),
        (
            HEAD + "temperature = 15",
            "species 'trout': key 'temperature' must be written as "
            '{ least = 1, source = "..." }, got 15',
        ),
        (
            HEAD + 'temperature = { max = 15, source = "x" }',
            "species 'trout': key 'temperature.max' is unknown; allowed here: least, most, source",
        ),
        (
            HEAD + "temperature = { most = 15 }",
            "species 'trout': key 'temperature.source' is missing: a citation, or "
            '"illustrative" where there is none',
        ),
        (
            HEAD + 'temperature = { source = "x" }',
            "species 'trout': key 'temperature' must have least or most, got neither",
        ),
        (
            HEAD + 'temperature = { most = "warm", source = "x" }',
            "species 'trout': key 'temperature.most' must be a number in degC, or a number and a "
            "unit such as '2 degC', got 'warm'",
        ),
        (
            HEAD + 'temperature = { most = true, source = "x" }',
            "species 'trout': key 'temperature.most' must be a number or a text with a unit, "
            "got True",
        ),
        (
            HEAD + 'temperature = { least = "70 degF", most = 20, source = "x" }',
            "species 'trout': key 'temperature': least of temperature_c must be at most 20, its "
            "most, got 21.1111",
        ),
        (
            HEAD + 'light = { least = 5, source = "x" }',
            "species 'trout': key 'light': least of light must be 0 to 1, got 5",
        ),
        (
            HEAD + 'light = { least = "5 m", source = "x" }',
            "species 'trout': key 'light.least' must be a number, or a text in per cent such as "
            "'20 %', got '5 m'",
        ),
        (
            HEAD + 'oxygen = { least = "5 ft", source = "x" }',
            "species 'trout': key 'oxygen.least' must be a number in mg/L, or a number and a unit "
            "such as '2 mg/L', got '5 ft'",
        ),
        (
            HEAD + "oxygen = []",
            "species 'trout': key 'oxygen' must hold a limit, got an empty list",
        ),
        (
            HEAD + 'oxygen_demand = { base = 1, rate = 1, source = "x" }',
            "species 'trout': key 'oxygen_demand.factor' is missing",
        ),
        (
            HEAD + 'oxygen_demand = { base = 1, factor = 1, rate = "fast", source = "x" }',
            "species 'trout': key 'oxygen_demand.rate' must be a number, got 'fast'",
        ),
        (
            HEAD + "oxygen_demand = 3",
            "species 'trout': key 'oxygen_demand' must be written as { base = ..., ... }, got 3",
        ),
        (
            HEAD + 'remarks = 3\ndepth = { most = 3, source = "x" }',
            "species 'trout': key 'remarks' must be a text, got 3",
        ),
    ],
)
def test_refusals_name_file_species_and_key(tmp_path: Path, text: str, message: str) -> None:
    file = tmp_path / "species.toml"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(InputFileError, match=r"species\.toml: ") as caught:
        read_species(file)
    assert str(caught.value) == f"{file}: {message}"


def test_what_is_no_toml(tmp_path: Path) -> None:
    file = tmp_path / "species.toml"
    file.write_text("[[species", encoding="utf-8")
    with pytest.raises(InputFileError, match="is not a TOML file: "):
        read_species(file)
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputFileError, match="is not a TOML file: "):
        read_species(file)
    with pytest.raises(InputFileError, match="does not exist"):
        read_species(tmp_path / "none.toml")


def test_shipped_file_reads_like_a_copy_of_it(tmp_path: Path) -> None:
    copy = tmp_path / "mine.toml"
    copy.write_text(shipped_species_text(), encoding="utf-8")
    assert read_species(copy) == shipped_species()


def test_shipped_values_that_were_looked_up() -> None:
    # cisco: lethal 22.1 degrees Celsius and 3 mg/L, Jiang and Fang 2016, Water 8:279, abstract;
    # trout ponds below 70 degrees Fahrenheit, Virginia Department of Wildlife Resources
    cisco, pond = (shipped_species().of(name) for name in ("cisco", "trout in ponds"))
    assert cisco.range_of("temperature_c")[1] == 22.1
    assert cisco.range_of("oxygen_mg_l")[0] == 3.0
    assert pond.range_of("temperature_c")[1] == pytest.approx((70 - 32) / 1.8, abs=1e-9)


def test_shipped_values_without_citation_say_so() -> None:
    for one in shipped_species().species:
        for source in one.sources:
            vouched = any(mark in source for mark in ("2016", "Virginia"))
            assert vouched or "from memory" in source or source == "illustrative", (
                one.name,
                source,
            )


def test_every_species_is_explained() -> None:
    rows = tomllib.loads(shipped_species_text())["species"]
    assert all(row["remarks"].endswith(".") for row in rows)
