"""Splitting a region: a million soundings in a thousand waters, against reading them alone."""

import os
import sys
import tempfile
from pathlib import Path

import click
from measure import Cost, Row, cost_of, quiet, show

from toolbox.batch.engines import ONE_THREAD

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from invented_waters import write_layers

WATERS, SOUNDINGS, PATIENCE = 1000, 1000, 60.0
ENVIRONMENT = os.environ | ONE_THREAD

_BEGIN = """
import sys, tomllib
from pathlib import Path
from toolbox.batch.batch_file import load_batch_file
from toolbox.batch.inputs import split_inputs
path = Path(sys.argv[1])
wanted = load_batch_file(tomllib.loads(path.read_text()), path)
(source,) = wanted.common.soundings
"""
LIBRARIES = _BEGIN + "import geopandas, pyarrow.parquet, pyogrio, pyproj, shapely"
READ = _BEGIN + (
    "from toolbox.formats.sounding_portions import sounding_portions\n"
    "count = sum(len(part) for part in sounding_portions(source.file))\n"
    "assert count, 'nothing was read'"
)
SPLIT = _BEGIN + (
    "place = Path(sys.argv[2])\n"
    "place.mkdir()\n"
    "split = split_inputs(wanted, place, place / 'nowhere')\n"
    "assert len(list(place.iterdir())) > len(split.folders), 'not all waters are there'"
)


def layers(folder: Path, waters: int, soundings: int) -> dict[str, Path]:
    """Write the region in both forms, and return the batch file of each."""
    import geopandas

    parquet = write_layers(folder, range(waters), soundings)
    geopandas.read_parquet(folder / "soundings.parquet").to_file(folder / "soundings.gpkg")
    package = folder / "package.toml"
    package.write_text(parquet.read_text().replace("soundings.parquet", "soundings.gpkg"))
    return {"GeoParquet": parquet, "GeoPackage": package}


def measured(file: Path, out: Path) -> tuple[Cost, Cost, Cost]:
    """Return what the libraries alone, reading and splitting take."""
    quiet(PATIENCE)
    return tuple(  # type: ignore[return-value]
        cost_of([sys.executable, "-c", code, file, out], env=ENVIRONMENT)
        for code in (LIBRARIES, READ, SPLIT)
    )


def rows(waters: int = WATERS, soundings: int = SOUNDINGS) -> list[Row]:
    """Measure."""
    found = []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for form, file in layers(folder, waters, soundings).items():
            alone, read, split = measured(file, folder / form)
            what = f"{form}, {waters * soundings:,} soundings split into {waters:,} waters"
            each = 1000 * (split.processor - read.processor) / waters
            found += [
                Row(f"{what}, peak", "", split.gib * 1024, "MiB", at_most=700),
                Row(f"{form}, libraries alone, peak", "", alone.gib * 1024, "MiB"),
                Row(f"{form}, reading alone, peak", "", read.gib * 1024, "MiB"),
                Row(f"{what}, processor", "", split.processor, "s"),
                Row(f"{form}, reading alone, processor", "", read.processor, "s"),
                Row(f"{what}, processor for each water", "reading alone", each, "ms", at_most=20),
            ]
    return found


@click.command()
@click.option("--waters", default=WATERS, help="How many.")
@click.option("--soundings", default=SOUNDINGS, help="About how many in each.")
def main(waters: int, soundings: int) -> None:
    """Measure and print."""
    show(rows(waters, soundings))


if __name__ == "__main__":
    main()
