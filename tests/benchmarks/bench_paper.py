"""The page and the sheet of a million soundings and a raster of 5000 x 5000 cells."""

import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

from invented_lake import SIDE, shoreline, soundings, write_survey
from measure import Row, show

from toolbox.bed.gridding import grid_bed
from toolbox.bed.triangulation import triangulate
from toolbox.isobaths.isobaths import isobaths
from toolbox.report.sheet import write_sheet
from toolbox.survey.settings import load_settings
from toolbox.volume.hypsography import hypsography
from toolbox.volume.morphometry import morphometry

COUNT, CELL = 1_000_000, SIDE / 5_000
LEADLINE, MB = Path(sys.executable).with_name("leadline"), 1e6


def seconds_of_sheet(survey: Path) -> float:
    """Draw the sheet of what lies in memory."""
    settings = load_settings(survey)
    points, water = soundings(COUNT), shoreline()
    bed = triangulate(points, water)
    told = {"hypsography": hypsography(bed), "morphometry": morphometry(bed), "bed": bed}
    layers = {"depth": grid_bed(bed, cell=CELL), "isobaths": isobaths(bed), "soundings": points}
    about = {name: getattr(settings, name).model_dump() for name in ("origin", "datum")}
    about |= {"title": settings.water.name, "made": datetime.now(UTC).date()}
    start = time.perf_counter()
    write_sheet(survey.with_name("sheet.pdf"), shoreline=water, **layers, **told, **about)
    return time.perf_counter() - start


def megabytes_of_page(survey: Path) -> float:
    """Carry out the survey for its page alone."""
    text = survey.read_text(encoding="utf-8")
    survey.write_text(f'{text}\n[make]\ncell = {CELL}\nwrite = ["page"]\n', encoding="utf-8")
    out = survey.with_name("out")
    subprocess.run([LEADLINE, "run", survey, "--out", out, "--quiet"], check=True)
    return (out / "report.html").stat().st_size / MB


def rows() -> list[Row]:
    """Measure."""
    with tempfile.TemporaryDirectory() as name:
        survey = write_survey(Path(name), COUNT)
        seconds, size = seconds_of_sheet(survey), megabytes_of_page(survey)
    what = f"of {COUNT:,} soundings and 5000 x 5000 cells"
    return [
        Row(f"sheet {what}", "", seconds, "s", at_most=30),
        Row(f"page {what}", "", size, "MB", at_most=12),
    ]


if __name__ == "__main__":
    show(rows())
